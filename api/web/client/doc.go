// Package client holds the tests of a client's own pages, which package api
// serves: a real server over a real database, asked by hand and by a browser.
package client
