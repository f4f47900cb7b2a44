// Package web is what pages for people who are signed in have in common: the
// frame around them, the way to the interface inside the process, and the words
// for what went wrong. The packages below it hold the pages, one for each kind of
// person. What a page does is one operation of the interface (Site.Ask), so that
// nobody can do in a browser what the interface forbids.
package web
