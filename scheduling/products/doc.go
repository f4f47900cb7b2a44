// Package products knows what the label of a product can say, and what to be
// careful of when it says so. It approves nothing: a label without a caution is
// only one that this package has no word about. The maker's directions, local
// rules and the licensed person come first.
package products
