//go:build !unix

package record

import "errors"

func (d *Dir) lock() (unlock func(), err error) {
	return nil, errors.New("record: this system has no file locks that the store can use; keep records on Linux or another Unix")
}
