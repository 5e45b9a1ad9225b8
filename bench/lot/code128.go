package lot

import (
	"fmt"
	"strconv"
	"strings"
)

// Bars of Code 128 (ISO/IEC 15417): each symbol character is three bars and
// three spaces, one to four modules wide and eleven together, by its value
// from 0 to 105; the last is the stop, with a fourth bar. In code set B the
// values 0 to 94 are the characters from the blank to the tilde.
var code128 = [...]string{
	"212222", "222122", "222221", "121223", "121322", "131222", "122213", "122312", "132212", "221213",
	"221312", "231212", "112232", "122132", "122231", "113222", "123122", "123221", "223211", "221132",
	"221231", "213212", "223112", "312131", "311222", "321122", "321221", "312212", "322112", "322211",
	"212123", "212321", "232121", "111323", "131123", "131321", "112313", "132113", "132311", "211313",
	"231113", "231311", "112133", "112331", "132131", "113123", "113321", "133121", "313121", "211331",
	"231131", "213113", "213311", "213131", "311123", "311321", "331121", "312113", "312311", "332111",
	"314111", "221411", "431111", "111224", "111422", "121124", "121421", "141122", "141221", "112214",
	"112412", "122114", "122411", "142112", "142211", "241211", "221114", "413111", "241112", "134111",
	"111242", "121142", "121241", "114212", "124112", "124211", "411212", "421112", "421211", "212141",
	"214121", "412121", "111143", "111341", "131141", "114113", "114311", "411113", "411311", "113141",
	"114131", "311141", "411131", "211412", "211214", "211232", "2331112",
}

const (
	startB = 104
	stop   = 106
	// quiet is the bright zone on either side, in modules.
	quiet = 10
)

// Barcode is the widths of bars and spaces in turn, in modules, for a text of
// printable ASCII in code set B; ok is false for any other text and for none.
func Barcode(text string) (widths []int, ok bool) {
	if text == "" {
		return nil, false
	}
	values, sum := []int{startB}, startB
	for i := range len(text) {
		c := text[i]
		if c < ' ' || c > '~' {
			return nil, false
		}
		v := int(c - ' ')
		values, sum = append(values, v), sum+(i+1)*v
	}
	for _, v := range append(values, sum%103, stop) {
		for _, w := range code128[v] {
			widths = append(widths, int(w-'0'))
		}
	}
	return widths, true
}

// modules is how wide a symbol is with its quiet zones.
func modules(widths []int) float64 {
	sum := 2 * quiet
	for _, w := range widths {
		sum += w
	}
	return float64(sum)
}

// barcodeSVG draws a symbol with its quiet zones, each module so many
// millimetres wide.
func barcodeSVG(widths []int, module_mm, height_mm float64) string {
	var path strings.Builder
	x := quiet
	for i, w := range widths {
		if i%2 == 0 {
			fmt.Fprintf(&path, "M%d 0h%dv1h-%dz", x, w, w)
		}
		x += w
	}
	mm := func(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %d 1" preserveAspectRatio="none" shape-rendering="crispEdges" aria-hidden="true"><path d="%s" fill="#000"/></svg>`,
		mm(modules(widths)*module_mm), mm(height_mm), x+quiet, path.String())
}
