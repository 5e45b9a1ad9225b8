// Package ntc turns the voltages at a thermistor with a negative coefficient
// into a temperature with its uncertainty, and tells a broken or shorted
// thermistor from a cold or hot one.
//
// # Laws
//
// With x = ln(R/R25) and T in kelvin:
//
//	1/T = 1/298.15 K + x/B               (beta law; IEC 60539-1, B value)
//	1/T = A + B·x + C·x² + D·x³          (four-term law; makers' data sheets)
//
// The law of three terms, 1/T = A + B·ln R + D·(ln R)³ with R in ohms
// (Steinhart and Hart, Deep-Sea Research 15, 1968), is the latter with R25 at
// 1 Ω and C at 0.
//
// The beta law holds near the two temperatures that B was stated for, usually
// 25 and 50 or 85 °C; elsewhere it is a degree or so off. Where a data sheet
// gives four terms, use them.
//
// # Divider
//
// The thermistor lies in series with a fixed resistor across a reference that
// the same converter reads: only the ratio of two codes counts, neither the
// reference nor the converter's gain.
//
// # Left out
//
// The thermistor warms itself: (3.3 V)²/(4·10 kΩ) = 0.27 mW at most in the
// usual divider, which at 2 mW/K in still air is 0.14 K (common practice for
// small beads), and in water a tenth of it. Leads are taken as short.
package ntc
