// Package pages draws what people look at: the day board, the page that books
// a visit, and short messages. It turns view models into HTML and nothing
// else: it knows no store, no request and no session. The caller works out
// what is true and fills a Board or a BookPage; this package decides how that
// is said and drawn.
//
// The day board is drawn as beams. Time runs from left to right and every
// person has a ground line. What stands on the line needs that person's hands.
// Where the hair works by itself, a beam is lifted over the line on two posts;
// if the bay below is open, another client's block may stand in it. Shape
// carries the meaning and colour repeats it, so that a board printed in grey
// still says all.
//
// What runs late casts a shadow along the floor, below the line, from the planned
// end to the projected one; where it reaches another client it has a double edge
// and says so. What could be booked is an outline, each kind with dashes of its
// own. Small drawings (DaySmall, HairDrawing, charts) use the same ink: each is
// one image whose name says all of it.
//
// Pages make no request to anybody else, hold no inline style or script (see
// ContentSecurityPolicy), and work without JavaScript.
package pages
