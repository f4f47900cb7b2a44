// Package booktest holds tests alone: visits are booked and moved in a browser, by
// keyboard, with and without scripts, over a network that fails.
package booktest
