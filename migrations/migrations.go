// Package migrations holds the numbered SQL files that build the database.
package migrations

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
)

// FS holds the files, applied in the order of their numbers.
//
//go:embed *.sql
var FS embed.FS

// Hash identifies the set of files: it changes when any of them does. Test
// databases are cached under it.
func Hash() string {
	h := sha256.New()
	names, err := fs.Glob(FS, "*.sql")
	if err != nil {
		panic(err) // the pattern is a constant
	}
	for _, n := range names {
		b, err := FS.ReadFile(n)
		if err != nil {
			panic(err) // an embedded file that was just listed
		}
		h.Write([]byte(n))
		h.Write(b)
	}
	return hex.EncodeToString(h.Sum(nil))[:16]
}
