// Package quoting says what a service costs: a fixed price, a table by length
// and amount of hair, or so much per booked minute with the product that is
// needed. It also says what deposit a salon asks. Everything is whole numbers of
// the currency's minor units, and each price carries its own working.
//
// It charges nothing and knows no tax: prices are what the client pays.
package quoting
