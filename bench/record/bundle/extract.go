package bundle

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"path"
)

// Extract unpacks the files into a new folder. Names are those of the layout,
// so none leads out of it. Nothing is said about what they are worth: that is
// Verify's.
func (b *Bundle) Extract(folder string) error {
	if err := os.Mkdir(folder, 0o755); err != nil {
		return fmt.Errorf("bundle: unpack it into a folder that is not there yet: %w", err)
	}
	// Root also refuses what somebody else puts into the folder meanwhile,
	// such as a link.
	root, err := os.OpenRoot(folder)
	if err != nil {
		return fmt.Errorf("bundle: it cannot be unpacked into %s: %w", folder, err)
	}
	defer root.Close()
	for _, f := range b.zip.File {
		if err := extract(root, f); err != nil {
			return fmt.Errorf("bundle: %s cannot be unpacked into %s: %w", f.Name, folder, err)
		}
	}
	return nil
}

func extract(root *os.Root, f *zipFile) (err error) {
	if err := root.MkdirAll(path.Dir(f.Name), 0o755); err != nil {
		return err
	}
	out, err := root.OpenFile(f.Name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(out, 1<<16)
	if err = unpack(f, w); err == nil {
		err = w.Flush()
	}
	return errors.Join(err, out.Close())
}
