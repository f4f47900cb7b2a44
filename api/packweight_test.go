package api

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
	"chairblock/store"
)

func TestNothingOutweighsAVisitThatCannotStay(t *testing.T) {
	for _, tt := range []struct {
		name          string
		wishes, cents int
		cut           bool
	}{
		{"nothing else", 0, 0, false},
		{"ordinary requests", 20, 30_000, false},
		{"a few of the greatest value", 3, 100_000_000, false},
		{"as many as there may be", mostPacked - 2, 100_000_000, true},
	} {
		p := &packer{h: openings.Horizon{Length: 4 * 1440}}
		stuck := &packJob{visit: &store.Visit{PriceCents: 1}, trouble: "Ada is not there"}
		p.jobs = append(p.jobs, stuck, &packJob{visit: &store.Visit{PriceCents: 32_000}})
		for range tt.wishes {
			p.jobs = append(p.jobs, &packJob{wish: &store.Wish{ValueCents: int64(tt.cents)}})
		}
		require.Equal(t, tt.cut, p.weigh(), tt.name)
		others := 0
		for _, j := range p.jobs {
			require.LessOrEqual(t, p.worth(j), packing.GreatestValue, tt.name)
			if j != stuck {
				others += p.worth(j)
			}
		}
		require.Greater(t, p.worth(stuck)-p.costs(), others, tt.name)
		if !tt.cut {
			require.Equal(t, 32_000, p.worth(p.jobs[1]), "what is worth something is not changed")
		}
		p.jobs = p.jobs[2:]
		require.False(t, p.weigh(), "requests alone outweigh nothing")
	}
}
