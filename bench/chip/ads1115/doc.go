// Package ads1115 drives the ADS1115 16-bit converter over I²C.
//
// # Data sheet
//
// Texas Instruments SBAS444, "ADS111x Ultra-Small, Low-Power, I2C-Compatible,
// 860-SPS, 16-Bit ADCs With Internal Reference, Oscillator, and Programmable
// Comparator", revision E; SBAS563 for the figures of the same core.
//
// # Fresh conversions
//
// The chip's data rate may be a tenth off, and in continuous mode a conversion
// that runs when the input is changed is finished with the old input. So the
// driver knows the latest time at which a conversion of the present settings
// must have ended (Due), sleeps until then, and returns no result before.
// In single-shot mode it may look at the idle bit (OS) instead, as the chip is
// mostly done earlier.
package ads1115
