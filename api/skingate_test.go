package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestASkinTestIsAskedForWithEveryServiceThatTheRuleCovers(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	colour, client, at := []object{s.service("Root colour")}, s.client("Mara"), start.Add(25*time.Hour)
	require.NotContains(t, textsOf(s.openings(colour, nil).Cautions), "patch_test", "a salon that asks for none")
	s.strict(nil) // the program's own rule: everything with chemicals

	const soon = "too soon for a new skin test"
	require.Contains(t, textsOf(s.openings(colour, nil).Cautions)["patch_test"], "at least 48 hours before the visit", "before a time is promised")
	require.NotContains(t, textsOf(s.openings([]object{s.service("Dry cut")}, nil).Cautions), "patch_test")
	body := object{"client_id": client, "start": at, "services": colour}
	p := s.call("POST", "/v1/visits", body, "Idempotency-Key", "a").refused(422, "refused")
	require.Equal(t, "patch_test", p.Cautions[0].Code)
	require.Contains(t, p.Detail, soon)
	body["approved_by"] = "Ben"
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "b").is(201, nil)
	s.book(client, start.Add(73*time.Hour), colour) // in time for a test
	s.skinTest(client, start.Add(-100*time.Hour))

	// So does the door of walk-ins.
	s.at(start.Add(2 * time.Hour))
	walk := object{"service_id": s.services["Root colour"], "given_name": "Vida"}
	require.Contains(t, s.walkIn("one", walk).refused(422, "refused").Detail, soon)
	walk["approved_by"] = "Ben"
	s.walkIn("two", walk).is(201, nil)

	// And the waiting list says so of what would fit.
	w := s.waits(s.client("Ines"), object{"services": colour, "first_date": "2026-06-09", "last_date": "2026-06-09"})
	fits := s.matches(object{"first_date": "2026-06-09", "last_date": "2026-06-09"})
	require.NotEmpty(t, fits.Fits)
	require.Equal(t, w.ID, fits.Fits[0].WaitingID)
	require.Contains(t, textsOf(fits.Fits[0].Cautions)["patch_test"], soon)
}

func TestDamagedHairKeepsItsStrandTestWhateverTheConsultationSays(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"skin_test_for": "nothing", "consent_for": "nothing", "deposit_for": "nothing", "consultation_for": "nothing"})
	weak := hair()
	weak["damaged"], weak["batches"] = true, 3
	services := func(h object) []object { return []object{{"service_id": s.services["Straightening"], "hair": h}} }
	book := func(name string, h object, at time.Time) string {
		var v api.VisitBody
		client := s.client(name)
		s.screened(client, nil)
		s.call("POST", "/v1/visits", object{"client_id": client, "start": at, "services": services(h), "approved_by": "Ada"}, "Idempotency-Key", name).is(201, &v)
		return v.ID
	}
	require.Equal(t, "strand_test missing", s.needed(book("Mara", weak, start.Add(73*time.Hour))), "the questions do not ask about damage")
	require.Empty(t, s.needed(book("Ines", hair(), start.Add(97*time.Hour))))
}
