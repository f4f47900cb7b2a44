package storetest

import (
	"archive/tar"
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// A cluster is kept as one file: a thousand small ones take a disk seconds to
// make, and a system that clears out old files could take some of them away.

// pack writes a folder into a file, with modes and owners. Sockets and whatever
// else is no file or folder is left out.
func pack(dir, file string) error {
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	buffered := bufio.NewWriterSize(f, 1<<20)
	w := tar.NewWriter(buffered)
	err = filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || name == dir || !(d.IsDir() || d.Type().IsRegular()) {
			return err
		}
		return packOne(w, dir, name, d)
	})
	if err = errors.Join(err, w.Close(), buffered.Flush(), f.Close()); err != nil {
		return fmt.Errorf("packing %s: %w", dir, err)
	}
	return nil
}

func packOne(w *tar.Writer, dir, name string, d fs.DirEntry) error {
	info, err := d.Info()
	if err != nil {
		return err
	}
	h, err := tar.FileInfoHeader(info, "")
	if err != nil {
		return err
	}
	if h.Name, err = filepath.Rel(dir, name); err != nil {
		return err
	}
	if err := w.WriteHeader(h); err != nil || d.IsDir() {
		return err
	}
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	_, err = io.Copy(w, f)
	return errors.Join(err, f.Close())
}

// unpack makes the folder dir from a file that pack wrote.
func unpack(file, dir string) error {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	mode := fs.FileMode(0o700)
	if os.Geteuid() == 0 {
		mode = 0o711
	}
	if err := os.Mkdir(dir, mode); err != nil {
		return err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	r := tar.NewReader(bufio.NewReaderSize(f, 1<<20))
	for {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = unpackOne(root, h, r)
		}
		if err != nil {
			return fmt.Errorf("unpacking %s: %w", file, err)
		}
	}
}

func unpackOne(root *os.Root, h *tar.Header, content io.Reader) error {
	mode := h.FileInfo().Mode()
	if mode.IsDir() {
		if err := root.Mkdir(h.Name, mode.Perm()); err != nil {
			return err
		}
	} else {
		f, err := root.OpenFile(h.Name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode.Perm())
		if err != nil {
			return err
		}
		_, err = io.Copy(f, content)
		if err := errors.Join(err, f.Close()); err != nil {
			return err
		}
	}
	if os.Geteuid() != 0 {
		return nil
	}
	return root.Chown(h.Name, h.Uid, h.Gid)
}
