package api

import "chairblock/store"

// words names a state as screens and messages do.
func words(s store.VisitState) string { return StateWords(string(s)) }

// StateWords names a state of a visit, as the interface has it, in a word or a few.
func StateWords(state string) string {
	switch store.VisitState(state) {
	case store.UnderWay:
		return "under way"
	case store.StoppedEarly:
		return "stopped early"
	case store.Missed:
		return "marked “did not come”"
	case store.Held:
		return "pencilled"
	case store.Lapsed:
		return "pencilled and not booked in time"
	case store.Booked, store.Arrived, store.Finished, store.Cancelled:
	}
	return state
}

// TapWords say what is noted next of a visit that is carried out, "" for a kind of
// note that has no words of its own.
func TapWords(kind string) string { return tapWords[kind] }
