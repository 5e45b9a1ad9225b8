package bundle

import (
	"encoding/hex"
	"errors"
	"strings"

	"dutybench/bench/record/ledger"
)

// inclusionText is a record's proof.txt.
func inclusionText(size int64, seq int, p ledger.Proof) ([]byte, error) {
	left, err := ledger.Sides(size, seq)
	if err != nil {
		return nil, err
	}
	if len(left) != len(p) {
		return nil, errors.New("bundle: the proof has not as many hashes as there are levels above the record")
	}
	var b strings.Builder
	for i, h := range p {
		side := "right "
		if left[i] {
			side = "left "
		}
		b.WriteString(side + hex.EncodeToString(h[:]) + "\n")
	}
	return []byte(b.String()), nil
}

// extensionText is an older head's proof.
func extensionText(p ledger.Proof) []byte {
	var b strings.Builder
	for _, h := range p {
		b.WriteString(hex.EncodeToString(h[:]) + "\n")
	}
	return []byte(b.String())
}

// parseProof reads either; what it read must be written the same again.
func parseProof(text []byte) (ledger.Proof, error) {
	var p ledger.Proof
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSuffix(line, "\n")
		line = strings.TrimPrefix(strings.TrimPrefix(line, "left "), "right ")
		raw, err := hex.DecodeString(line)
		if err != nil || len(raw) != len(ledger.Hash{}) || len(p) == 64 {
			return nil, errors.New("it is no proof as bundles hold them")
		}
		p = append(p, ledger.Hash(raw))
	}
	return p, nil
}
