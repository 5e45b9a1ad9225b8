// Package ina219 drives the INA219 shunt and bus voltage monitor over I²C.
//
// # Data sheet
//
// Texas Instruments SBOS448, "INA219 Zerø-Drift, Bidirectional Current/Power
// Monitor With I2C Interface", revisions F (September 2011) and G (December
// 2015).
//
// # Fresh conversions
//
// The chip converts at its own pace and holds only the last result. The
// conversion ready flag (CNVR) is bit 1 of the bus voltage register. Reading
// that register leaves it; reading the power register clears it, and so does
// writing another converting mode (SBOS448F page 30). So a look and the
// clearing are two transactions, and a conversion can end between them.
//
// Next looks until the flag is set, reads the result, and clears the flag
// last. What raises the flag again has then ended after the result was read:
// no result can be read twice. A conversion that ends between the result and
// the clearing is lost, and is counted by the chip's pace.
//
// The shunt and the bus register are two transactions too. The data sheet says
// that the shunt is converted first and the bus after it (SBOS448G, detailed
// description), but not whether both registers change together. A pair is
// taken only if it was read before the shorter of the two conversions can have
// ended again; else the next conversion is waited for.
package ina219
