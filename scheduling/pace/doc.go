// Package pace learns from records how quickly people really work.
//
// Every step whose real length is known gives the logarithm of real over
// expected minutes. Two known-variance normal updates shrink it: a person
// towards the salon, the salon towards the sheet. Little data leaves the sheet
// as it is, much data replaces it; old data fades. A mixture of the scheduled
// time and history, with the scheduled time worth a few past cases, is what
// Dexter & Ledolter found for surgical cases (Anesthesiology 103(6):1259–67,
// 2005).
//
// Nobody is assumed to become quicker by practice: a learning curve in units of
// work needs records of somebody's first visits, which a salon does not have.
// Fading follows slow change without one.
//
// The package does not know where records come from, and it never works a
// promise out from records alone: it gives factors and spreads that the model
// of chair time uses.
package pace
