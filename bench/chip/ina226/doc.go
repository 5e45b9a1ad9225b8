// Package ina226 drives the INA226 shunt and bus voltage monitor over I²C.
//
// # Data sheet
//
// Texas Instruments SBOS547, "INA226 High-Side or Low-Side Measurement,
// Bi-Directional Current and Power Monitor with I2C Compatible Interface",
// revisions of June 2011 and September 2024 (SBOS547B).
//
// # Fresh conversions
//
// The chip converts at its own pace and holds only the last result. The
// conversion ready flag (CVRF) tells a new result from an old one, and reading
// the flag clears it. Between reading the flag and reading the result the next
// conversion may end. Next keeps bounds on the end of each conversion, so that
// it knows when that can have happened, and then looks at the flag again: it
// neither returns a result twice nor counts one wrongly as lost.
//
// All registers are two bytes wide and are read in one transaction, so that a
// reading is never made of halves of two conversions.
package ina226
