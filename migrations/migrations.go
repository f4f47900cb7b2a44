// Package migrations holds the numbered SQL files that build the database.
package migrations

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"strconv"
	"strings"
)

// FS holds the files, applied in the order of their numbers.
//
//go:embed *.sql
var FS embed.FS

// AfterJobs follows once the job library has made its tables. The index finds what has
// come due among the messages that wait for months, which the library looks for every
// few seconds: its own indexes on these begin with the queue. It is not built beside
// other work (concurrently), which would wait for those who wait for our lock; there
// are some hundred jobs of a salon. The indexes that go are over all that jobs say of
// themselves, for looking jobs up by hand; nothing here does, and each job paid for them.
const AfterJobs = `CREATE INDEX IF NOT EXISTS river_job_waiting ON river_job (scheduled_at) WHERE state IN ('retryable', 'scheduled');
	DROP INDEX IF EXISTS river_job_args_index, river_job_metadata_index`

// Newest is the number of the newest file.
func Newest() int64 {
	names, err := fs.Glob(FS, "*.sql")
	if err != nil {
		panic(err) // the pattern is a constant
	}
	var newest int64
	for _, name := range names {
		number, _, _ := strings.Cut(name, "_")
		n, err := strconv.ParseInt(number, 10, 64)
		if err != nil {
			panic(err) // an embedded file; migrating finds it as well
		}
		newest = max(newest, n)
	}
	return newest
}

// Hash identifies the set of files, with AfterJobs: it changes when any of them does. Test
// databases are cached under it.
func Hash() string {
	h := sha256.New()
	h.Write([]byte(AfterJobs))
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
