// Package webtest lets tests of pages use them as people do: a real server over a
// real database, and visitors with and without scripts.
package webtest
