package guard

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
)

// What goes through the two pipes between the main process and the guard
// process. Every message is one frame of fixed size with a checksum, written
// in one write of less than a pipe's atomic size (PIPE_BUF, 4,096 bytes on
// Linux: pipe(7)), so that frames never mix and a torn one shows.
const (
	orderSize  = 32
	reportSize = 256
	orderMark  = 0xD0B1
	reportMark = 0xD0B2
	textMost   = reportSize - 26 // bytes
)

// errFrame says that what came through the pipe is no frame.
var errFrame = errors.New("guard: what came through the pipe is no message of this program")

// orderKind is what the main process wants.
type orderKind uint8

const (
	orderSet   orderKind = iota + 1 // close these contacts and open the others
	orderRenew                      // the lease ends later
	orderBye                        // open, and end
	orderStill                      // stop the pulses until a time, then open
)

// order is a message to the guard process.
type order struct {
	kind  orderKind
	path  Path
	seq   uint64 // grows with every frame
	grant uint64 // of a renewal: the seq of the set that it belongs to
	// until is when the lease ends, in nanoseconds of the machine's time since
	// boot. It is absolute, so that a frame that lay in the pipe while the
	// guard was stopped is no fresh one.
	until int64
}

// put writes the frame without allocating.
func (o *order) put(b *[orderSize]byte) {
	binary.LittleEndian.PutUint16(b[0:], orderMark)
	b[2], b[3] = byte(o.kind), byte(o.path)
	binary.LittleEndian.PutUint64(b[4:], o.seq)
	binary.LittleEndian.PutUint64(b[12:], o.grant)
	binary.LittleEndian.PutUint64(b[20:], uint64(o.until))
	binary.LittleEndian.PutUint32(b[28:], crc32.ChecksumIEEE(b[:28]))
}

// readOrder reads one frame of orderSize bytes.
func readOrder(b []byte) (order, error) {
	if len(b) != orderSize || binary.LittleEndian.Uint16(b) != orderMark ||
		binary.LittleEndian.Uint32(b[28:]) != crc32.ChecksumIEEE(b[:28]) {
		return order{}, errFrame
	}
	o := order{kind: orderKind(b[2]), path: Path(b[3]), seq: binary.LittleEndian.Uint64(b[4:]),
		grant: binary.LittleEndian.Uint64(b[12:]), until: int64(binary.LittleEndian.Uint64(b[20:]))}
	if o.kind < orderSet || o.kind > orderStill {
		return order{}, errFrame
	}
	return o, nil
}

// reportKind is what the guard process says.
type reportKind uint8

const (
	reportReady   reportKind = iota + 1 // it holds the contacts, all open; path: which there are; seq: pull-in of the relay before them, ns
	reportUnready                       // it could not, and ends
	reportAlive                         // every beat
	reportDone                          // order seq is carried out
	reportRefused                       // order seq is not; the text says why
	reportOpened                        // it opened by itself and stays so; why and the text say why
)

// why is the reason for which the guard process opened.
type why uint8

const (
	whyNot       why = iota
	whySilence       // the lease ran out
	whyPipe          // the pipe ended: the main process is gone
	whyBadFrame      // what came was no frame, or out of order
	whySignalled     // it was told to end
	whyContacts      // a contact did not do as told
	whyLast
)

// report is a message from the guard process.
type report struct {
	kind reportKind
	why  why
	path Path
	seq  uint64
	at   int64 // time since boot, ns
	text string
}

// put writes the frame. A text that is too long is cut.
func (r *report) put(b *[reportSize]byte) {
	clear(b[:])
	binary.LittleEndian.PutUint16(b[0:], reportMark)
	b[2], b[3], b[4] = byte(r.kind), byte(r.why), byte(r.path)
	binary.LittleEndian.PutUint64(b[5:], r.seq)
	binary.LittleEndian.PutUint64(b[13:], uint64(r.at))
	n := copy(b[22:22+textMost], r.text)
	b[21] = byte(n)
	binary.LittleEndian.PutUint32(b[reportSize-4:], crc32.ChecksumIEEE(b[:reportSize-4]))
}

// readReport reads one frame of reportSize bytes.
func readReport(b []byte) (report, error) {
	if len(b) != reportSize || binary.LittleEndian.Uint16(b) != reportMark ||
		binary.LittleEndian.Uint32(b[reportSize-4:]) != crc32.ChecksumIEEE(b[:reportSize-4]) {
		return report{}, errFrame
	}
	n := int(b[21])
	if n > textMost {
		return report{}, errFrame
	}
	r := report{kind: reportKind(b[2]), why: why(b[3]), path: Path(b[4]), seq: binary.LittleEndian.Uint64(b[5:]),
		at: int64(binary.LittleEndian.Uint64(b[13:]))}
	if r.kind < reportReady || r.kind > reportOpened || r.why >= whyLast {
		return report{}, errFrame
	}
	if n > 0 {
		r.text = string(b[22 : 22+n])
	}
	return r, nil
}
