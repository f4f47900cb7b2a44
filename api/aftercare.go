package api

import (
	"slices"
	"time"

	"github.com/rickb777/date"
	"github.com/rickb777/date/clock"

	"chairblock/scheduling"
	"chairblock/store"
)

// keepDryUntil is when the 48 elapsed hours after end are over.
func keepDryUntil(end time.Time) time.Time { return scheduling.DefaultAftercare().DryUntil(end) }

// retouchDate is when enough new hair is expected after a visit that ended at
// end, by the salon's usual growth.
func retouchDate(n salonDay, end time.Time) date.Date {
	g := scheduling.DefaultRegrowth()
	r, err := g.Retouch(scheduling.CivilDate(end, n.loc), g.Own(nil))
	if err != nil { // only an impossible rate of growth, which the default is not
		panic(err)
	}
	return r.Due
}

// wall is the instant of a number of minutes after midnight on d, by the clock
// on the wall.
func wall(loc *time.Location, d date.Date, minutes int) time.Time {
	for minutes >= 1440 {
		d, minutes = d.Add(1), minutes-1440
	}
	return scheduling.Instant(loc, d, clock.New(minutes/60, minutes%60, 0, 0))
}

// needsAftercare reports whether hair has to be left alone after v.
func needsAftercare(v store.Visit) bool {
	return slices.ContainsFunc(v.Services, func(x store.VisitService) bool { return x.Aftercare })
}
