package trace

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// carefully reads byte by byte, so that no row ever lies whole in the buffer
// and every one goes the careful way.
func carefully(text []byte) (*Trace, error) {
	return Read(iotest.OneByteReader(bytes.NewReader(text)), "f.csv")
}

// bothWays reads the plain way and the careful one, which must agree in every
// bit and every word.
func bothWays(t *testing.T, text []byte) (*Trace, error) {
	t.Helper()
	want, wantErr := carefully(text)
	got, err := Read(bytes.NewReader(text), "f.csv")
	if wantErr != nil {
		require.EqualError(t, err, wantErr.Error())
		return nil, err
	}
	require.NoError(t, err)
	same(t, want, got)
	return got, nil
}

// Cells of every length and spelling, in required and optional columns, give
// what the standard library reads.
func TestPlainRowsAgainstTheStandardLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 1))
	for _, end := range []string{"\n", "\r\n"} {
		b := []byte("t_s,duty_pct,current_A,supply_on,supply_V,x" + end)
		var cells []string
		for i := range 20_000 {
			current := number(math.Round(r.NormFloat64()*1e4) / 1e4)
			switch i % 7 {
			case 1:
				current = number(r.NormFloat64() * math.Pow10(r.IntN(12)-6)) // long, or with an exponent
			case 2:
				current = strconv.FormatFloat(r.Float64(), 'f', r.IntN(12), 64)
			case 3:
				current = strconv.Itoa(r.IntN(1 << (1 + r.IntN(30))))
			case 4:
				current = []string{"-0", "0", "1.", ".5", "-.25", "00012.50", "12345678", "1234567.", "123456789", "-1234567.8"}[r.IntN(10)]
			}
			x := []string{"", "7.25", "-1"}[r.IntN(3)]
			cells = append(cells, current)
			b = append(b, number(float64(i)/2000)+","+number(float64(r.IntN(201))/2)+","+current+","+strconv.Itoa(r.IntN(2))+",,"+x+end...)
		}
		tr, err := bothWays(t, b)
		require.NoError(t, err)
		require.Len(t, tr.Current(), len(cells))
		for i, c := range cells {
			want, err := strconv.ParseFloat(c, 64)
			require.NoError(t, err)
			require.Equal(t, math.Float64bits(want), math.Float64bits(tr.Current()[i]), c)
		}
		assert.Equal(t, len(cells), tr.Column(ColSupply).Missing)
	}
}

// A row that is not plain, first, last or between plain ones, reads and is
// refused as if it stood alone.
func TestPlainRowsLeaveTheRest(t *testing.T) {
	var rows string
	for i := range 20 {
		rows += fmt.Sprintf("%g,50,0.25,1,\n", 1+float64(i)/100)
	}
	for _, odd := range []string{
		"", " ", "1,50,0.25,1,,", "1,50,0.25,1,9,", "1,50,0.25,1", "1,50,0.25", "1,,0.25,1,2", "1,50,,1,2", "0.5,50,0,1,2", "1,100.5,0,1,2", "1,-1,0,1,2",
		"1,50,0,0.5,2", "1,50,0,2,2", "1,50,nan,1,2", "1,50,1e400,1,2", "1,50,0,1,up", `1,50,0,1,"a,b"`, `"1","50",0,1,2`, " 1, 50 ,0,1, 2 ", "+1,50,+.5,1,2",
		"1,50,1.2.3,1,2", "1,50,--1,1,2", "1,50,-,1,2", "1,50,.,1,2", "1,50,1e5,1,2", "1,50,1e,1,2", "1,50,0x10,1,2", "1,50,1_0,1,2", "# no", "1;50;0;1;2",
		"1,50,0,1,2\r", "1,50,0\r,1,2", "1,50,0,1,\r", "1,50,\xff,1,2", "1,50,0,1,\xe9", "1,50,1\x00,1,2", "1,50,0,1,9999999999999999999", "1,50,0,1,0.1234567890123456789",
	} {
		for _, text := range []string{odd + "\n" + rows, rows + odd + "\n" + rows, rows + odd + "\n", rows + odd, rows + "1.5,60,0,1,\n" + odd + "\n"} {
			_, _ = bothWays(t, []byte("t_s,duty_pct,current_A,supply_on,note\n"+text))
		}
	}
}

// A command that stays is read once; one that only looks alike, or changes, is
// not taken for it, wherever its column stands.
func TestPlainRowsOfACommand(t *testing.T) {
	for _, duties := range [][]string{
		{"2", "2", "20", "20", "2", "2.5", "2.5", "25", "2"}, {"12.345678", "12.345678", "12.345679", "12.3456785"}, {"100.0000", "100.0000", "100.00001"},
		{"1e1", "1e1", "1e0", "1"}, {"0", "-0", "0", "00", "-1"}, {"50", "50", "500", "50"}, {"1234567", "1"}, {"7", "7", "", "7", "7"},
	} {
		for _, columns := range []string{"t_s,duty_pct,current_A,line_duty_pct", "line_duty_pct,t_s,current_A,duty_pct", "current_A,line_duty_pct,duty_pct,t_s"} {
			for _, end := range []string{"\n", "\r\n"} {
				text := columns + end
				for i, d := range duties {
					cells := map[string]string{"t_s": strconv.Itoa(i), "duty_pct": "5", "current_A": "0.5", "line_duty_pct": d}
					if i >= 2 && d != "" {
						cells["duty_pct"] = d
					}
					for range 3 {
						for j, name := range strings.Split(columns, ",") {
							if j > 0 {
								text += ","
							}
							text += cells[name]
						}
						text += end
					}
				}
				_, _ = bothWays(t, []byte(text))
			}
		}
	}
}

func FuzzPlainRows(f *testing.F) {
	f.Add([]byte("0,0,0,\n1,2.5,-3e1,x\n"))
	f.Add([]byte("0,0,123456789.5,\r\n1,100,.5,\"7\"\r\n\r\n1,0,1,"))
	f.Fuzz(func(t *testing.T, rows []byte) {
		_, _ = bothWays(t, append([]byte("t_s,duty_pct,current_A,supply_on\n"), rows...))
		_, _ = bothWays(t, append([]byte("t_s,duty_pct,current_A,note\n"), rows...))
	})
}

// A reader that is used again gives what a fresh one gives, whatever it read
// before: longer, shorter, text, or nothing it could read.
func TestReaderUsedAgain(t *testing.T) {
	texts := []string{
		"t_s,duty_pct,current_A\n0,1,2\n1,2,3\n", string(sweep(t)), "", "t_s,duty_pct,current_A,note,supply_V\n0,1,2,up,\n1,2,3,4,12\n", "t_s,duty_pct,current_A\n0,1,x\n",
		"t_s,duty_pct,current_A,note,supply_V\n0,1,2,7,12\n1,2,3,,\n", "t_s,duty_pct,current_A,\"" + strings.Repeat("n", 300) + "\"\n0,1,2," + strings.Repeat("y", 200_000) + "\n",
	}
	var r, unhashed Reader
	unhashed.Unhashed = true
	for range 2 {
		for i, text := range texts {
			want, wantErr := Read(strings.NewReader(text), "f.csv")
			for _, again := range []*Reader{&r, &unhashed} {
				got, err := again.Read(strings.NewReader(text), "f.csv", nil)
				if wantErr != nil {
					require.EqualError(t, err, wantErr.Error())
					continue
				}
				require.NoError(t, err, i)
				if again.Unhashed {
					require.Empty(t, got.SHA256)
					got.SHA256 = want.SHA256
				}
				require.Equal(t, want.SHA256, got.SHA256)
				same(t, want, got)
				require.Equal(t, want.Warnings, got.Warnings)
			}
		}
	}
	_, err := r.ReadFile("no such file.csv", nil)
	require.ErrorContains(t, err, "cannot be opened")
}

// Reading into a reader that has read before allocates the same few bytes
// however many samples there are.
func TestReaderAllocatesNothingASample(t *testing.T) {
	long := sweep(t)
	short := long[:bytes.LastIndexByte(long[:len(long)/8], '\n')+1]
	var r Reader
	spent := func(text []byte) uint64 {
		var before, after runtime.MemStats
		for range 2 { // the first makes room
			runtime.ReadMemStats(&before)
			_, err := r.Read(bytes.NewReader(text), "f.csv", nil)
			require.NoError(t, err)
			runtime.ReadMemStats(&after)
		}
		return after.TotalAlloc - before.TotalAlloc
	}
	some, many := spent(short), spent(long)
	t.Logf("%d bytes for %d, %d bytes for %d", some, len(short), many, len(long))
	assert.Less(t, many, some+4096)
	assert.Less(t, many, uint64(32<<10))
}
