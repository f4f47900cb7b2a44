// Package allpages holds tests that go through every page that people can reach,
// whoever wrote it: each is open to all, fits, is light, and says nothing wrong to
// the browser.
package allpages
