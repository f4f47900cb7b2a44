// Package chairtime works out how long straightening takes on a head of hair:
// the mean and the spread of every step, the minutes to book, the products, and
// the cautions that go with them. Every constant of the model is a setting with
// a default, a range and the source of both.
//
// It approves nothing: the product maker's directions, local rules and the
// licensed person's judgement come before its figures.
package chairtime
