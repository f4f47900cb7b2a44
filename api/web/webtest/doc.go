// Package webtest lets tests of pages use them as people do: a real server over a
// real database, and a real browser that is asked what it shows, whether anybody
// is shut out by it, and what it weighs.
//
// axe.min.js is axe-core 4.14.1 by Deque Systems under the Mozilla Public License
// 2.0, unchanged; it is part of tests only.
package webtest
