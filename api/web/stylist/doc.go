// Package stylist holds the pages that a stylist has on a phone: her day, the
// visit that is going on, its record card.
package stylist
