package storetest

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// copyFolder copies a folder with modes and owners. Sockets and whatever else is
// no file or folder is left out.
func copyFolder(from, to string) error {
	err := filepath.WalkDir(from, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rest, err := filepath.Rel(from, name)
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		copied := filepath.Join(to, rest)
		switch {
		case d.IsDir():
			if err := os.Mkdir(copied, info.Mode().Perm()); err != nil {
				return err
			}
		case d.Type().IsRegular():
			if err := copyFile(name, copied, info); err != nil {
				return err
			}
		default:
			return nil
		}
		if os.Geteuid() != 0 {
			return nil
		}
		uid, gid := owner(info)
		return os.Chown(copied, uid, gid)
	})
	if err != nil {
		return fmt.Errorf("copying %s: %w", from, err)
	}
	return nil
}

func copyFile(from, to string, info fs.FileInfo) error {
	r, err := os.Open(from)
	if err != nil {
		return err
	}
	defer r.Close()
	w, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, info.Mode().Perm())
	if err != nil {
		return err
	}
	_, err = io.Copy(w, r)
	return errors.Join(err, w.Close())
}
