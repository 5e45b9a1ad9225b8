// Package ds18b20 reads the temperature sensor DS18B20 through the kernel's
// one-wire bus.
//
// # Sources
//
// DS18B20 data sheet (Maxim, 19-7487): Table 1 for the relation of register
// and temperature, the table of resolutions, the scratchpad and its CRC.
// Documentation/w1/slaves/w1_therm.rst and drivers/w1/slaves/w1_therm.c of the
// kernel for its files.
//
// # The kernel's files
//
// A sensor is the folder bus/w1/devices/28-…, where 28 is the part's family.
// Reading "temperature" starts a conversion, waits for it, and gives
// thousandths of a degree; the kernel has checked the CRC then. Older kernels
// only have "w1_slave": nine bytes in hexadecimal with the kernel's verdict on
// their CRC, which this package works out once more.
//
// # What is no temperature
//
// After a loss of supply the part holds 85 °C (0550h) until its next
// conversion, and with too little supply a conversion gives 127.9375 °C
// (07FFh). Byte 6 of the scratchpad tells both from true values: it stands at
// 0Ch then, while a conversion leaves 10h less the low four bits (w1_therm.rst,
// "features"). Zeros throughout, as from a wire that is stuck low, have a right
// CRC and read as 0 °C; the configuration byte shows them, as its low five bits
// are always set. As "temperature" shows neither byte, a reading of just 85 or
// 0 °C is looked at again in "w1_slave".
//
// # Time
//
// A conversion takes up to 750 ms, and the kernel lets the reader wait. Watch
// reads on a goroutine of its own, for a rig that must not wait. On a
// simulated bench, whose time belongs to one goroutine, use Read.
//
// # Accuracy
//
// ±0.5 °C from -10 to +85 °C, ±2 °C beyond (data sheet; the latter from
// memory), in steps of 1/16 °C at 12 bit.
package ds18b20
