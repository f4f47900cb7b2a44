// Package owner holds the pages of who runs the salon: setting it up, hours,
// people, services, prices, messages, and what its records say.
package owner
