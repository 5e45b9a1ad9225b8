// Package spectrum finds lines, ripple and modulation in a plateau's current
// and says what they do and do not tell, such as the speed behind a ripple.
//
// It works on plain samples: x evenly spaced at rate_Hz; Even makes such a
// grid of an uneven trace or says why it cannot. Amplitudes are peak values
// in the unit of x (a sine of 1 A has amplitude 1 A), powers and band values
// are one-sided.
package spectrum
