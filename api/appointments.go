package api

import (
	"chairblock/api/ics"
	"chairblock/scheduling"
	"chairblock/store"
)

// untiedOrdinal is that of the hours in which hair stays untied, where they end
// at another time than those in which it stays dry.
const untiedOrdinal = 1

// appointmentOf is a visit as its client's calendar shows it, by those of parts
// that are the visit's. Its UID is empty when no calendar ever showed it.
func appointmentOf(n salonDay, v store.Visit, parts []store.Part) ics.Appointment {
	a := ics.Appointment{Start: v.Start, End: v.End, Salon: n.row.Name, Address: n.row.Address, Phone: n.row.Phone}
	for _, s := range v.Services {
		if name := ics.Title(s.Name); name != "" { // "" is a name of which a calendar can show nothing
			a.Services = append(a.Services, name)
		}
		if s.Aftercare {
			a.Prepare = ics.PrepareChemical()
		}
	}
	if len(a.Services) == 0 {
		a.Services = []string{"Appointment"}
	}
	apart := false
	for _, p := range parts {
		apart = apart || p.Visit == v.ID && p.Kind == store.PartAftercare && p.Live && p.Ordinal == untiedOrdinal
	}
	for _, p := range parts {
		switch {
		case p.Visit != v.ID:
		case p.Kind == store.PartClient:
			a.UID, a.Sequence, a.Changed, a.Cancelled = p.UID, p.Sequence, p.Changed, !p.Live
			a.Start, a.End = p.Start, p.End
		case p.Kind == store.PartAftercare && p.Live:
			a.Aftercare = append(a.Aftercare, aftercareOf(n, p, apart))
		case p.Kind == store.PartRetouch && p.Live:
			a.Retouch = &ics.Retouch{UID: p.UID, Sequence: p.Sequence, Changed: p.Changed, Date: scheduling.CivilDate(p.Start, n.loc)}
		}
	}
	return a
}

// aftercareOf is what hair is kept from for the time of p; apart tells that
// water and ties have times of their own.
func aftercareOf(n salonDay, p store.Part, apart bool) ics.Aftercare {
	out := ics.Aftercare{UID: p.UID, Sequence: p.Sequence, Changed: p.Changed, AlarmUID: p.UID + "-end", From: p.Start, Until: p.End}
	switch {
	case !apart:
		out.Keep, out.Rules = "dry and untied", ics.AftercareStraightening(n.row.Emergency)
	case p.Ordinal == untiedOrdinal:
		out.Keep, out.Rules = "untied", ics.AftercareUntied()
	default:
		out.Keep, out.Rules = "dry", ics.AftercareDry(n.row.Emergency)
	}
	return out
}
