//go:build !linux && !darwin

package main

import "errors"

// room is how many bytes an ordinary account may still write below a folder.
func room(string) (int64, error) { return 0, errors.ErrUnsupported }
