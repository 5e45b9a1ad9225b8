// Package pdf draws figures of package plot into a PDF.
package pdf

import (
	_ "codeberg.org/go-pdf/fpdf"                 // pages
	_ "golang.org/x/image/font/gofont/goregular" // lettering
)
