package storetest

import (
	"testing"

	"github.com/jackc/pgx/v5"
)

// Exec runs one statement in a database, for what no method of the store lets
// happen, such as a message that failed an hour ago.
func Exec(t testing.TB, url, statement string, args ...any) {
	t.Helper()
	c, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatalf("storetest: exec: %v", err)
	}
	defer func() { _ = c.Close(t.Context()) }()
	if _, err := c.Exec(t.Context(), statement, args...); err != nil {
		t.Fatalf("storetest: exec: %v", err)
	}
}
