// Package mcp320x drives the 12-bit converters MCP3204 (four channels) and
// MCP3208 (eight) over SPI.
//
// # Data sheet
//
// Microchip DS21298, "MCP3204/3208 2.7V 4-Channel/8-Channel 12-Bit A/D
// Converters with SPI Serial Interface", revision E.
//
// # Frames
//
// A conversion is a frame of three bytes with the chip selected: five zeros,
// the start bit, SGL/DIFF, D2, D1, D0, one clock for the sample, then from the
// chip a null bit and twelve bits from the highest. The chip has to be
// deselected between two frames. It holds the input's value at the end of the
// eleventh clock; before that it follows the input for one and a half clocks.
//
// The chip has no identity and no checksum. A wire from the chip that nobody
// drives reads all ones, so its null bit is a one, and the frame is refused.
// One that is stuck low reads as a code of zero, which an input at ground does
// too: name inputs that are never at ground in Opts.Live. New also reads each
// channel with five bytes: after the code the chip sends it again from its
// second lowest bit upwards and then zeros, which a shifted or shortened frame
// does not.
//
// # Many conversions a message
//
// A message of one conversion costs more for kernel and driver than for its
// bits, so a Batch puts many in one: one packet a conversion, and the chip
// select is raised after each. What bounds a batch is the kernel (Linux,
// drivers/spi/spidev.c): each transfer takes its bytes, rounded up to the
// processor's alignment for DMA, from a buffer of bufsiz bytes, 4,096 unless
// set at boot. The alignment is 128 bytes on arm64, 64 or 32 on arm (from
// memory), so 32 frames are safe everywhere; more fail with "message too
// long". The request itself could carry 511 transfers of 32 bytes in its 14
// bits of size.
//
// Between two frames the kernel keeps the chip select high for 10 µs
// (drivers/spi/spi.c, default of cs_change_delay; periph has no way to ask for
// less), and a controller may add to it. So the spacing of the frames is
// measured, not computed: see Dev.Learn.
//
// The driver allocates nothing once a batch is made. periph's spidev
// (host/v3 3.8.5, sysfs/spi.go, txPackets) makes a slice of 32 bytes a packet
// on each call with more than four packets: 1 KiB for 32 frames, about 1 MB a
// second at the chip's full rate. Batches of four frames avoid it, at the
// price of eight times as many calls.
package mcp320x
