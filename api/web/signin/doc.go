// Package signin holds the pages by which people get in and out, and change
// what they get in with.
package signin
