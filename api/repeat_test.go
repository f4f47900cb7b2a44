package api_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestARepeatedBookingHasOneEffectAndOneAnswer(t *testing.T) {
	s := newSalon(t)
	body := object{"client_id": s.client("Mara"), "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening(), "note": "prefers quiet <&> 静か"}
	first := s.call("POST", "/v1/visits", body, "Idempotency-Key", "7d1c").is(201, nil)
	require.Empty(t, first.header.Get("Idempotent-Replayed"))
	tables := s.tables()
	before := tables()
	for _, key := range []string{"7d1c", `"7d1c"`, "  7d1c  "} {
		s.at(start.Add(30 * time.Hour)) // however late, even when the start lies in the past
		again := s.call("POST", "/v1/visits", body, "Idempotency-Key", key).is(201, nil)
		require.Equal(t, string(first.body), string(again.body))
		for _, h := range []string{"ETag", "Location", "Content-Type"} {
			require.Equal(t, first.header.Get(h), again.header.Get(h))
		}
		require.Equal(t, "true", again.header.Get("Idempotent-Replayed"))
	}
	require.Equal(t, before, tables())

	// The answer stays what it was, whatever has become of the visit.
	s.at(start)
	var v api.VisitBody
	first.is(201, &v)
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", first.header.Get("ETag")).is(200, nil)
	again := s.call("POST", "/v1/visits", body, "Idempotency-Key", "7d1c").is(201, nil)
	require.Equal(t, string(first.body), string(again.body))
}

func TestAKeyBelongsToOneRequestOfOneToken(t *testing.T) {
	s := newSalon(t)
	mara, nora := s.client("Mara"), s.client("Nora")
	body := object{"client_id": mara, "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").is(201, nil)
	body["note"] = "another"
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").refused(422, "key-reused")
	body["client_id"], body["start"] = nora, start.Add(49*time.Hour)
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").refused(422, "key-reused")
	s.as(store.Desk).call("POST", "/v1/visits", body, "Idempotency-Key", "k").is(201, nil)
	// Another operation has keys of its own, too.
	s.call("POST", "/v1/clients", object{"given_name": "Ines"}, "Idempotency-Key", "k").is(201, nil)
	again := s.call("POST", "/v1/clients", object{"given_name": "Ines"}, "Idempotency-Key", "k").is(201, nil)
	require.Equal(t, "true", again.header.Get("Idempotent-Replayed"))
	s.call("POST", "/v1/clients", object{"given_name": "Inez"}, "Idempotency-Key", "k").refused(422, "key-reused")
	n := s.neighbour()
	n.call("POST", "/v1/clients", object{"given_name": "Ines"}, "Idempotency-Key", "k").is(201, nil)
}

func TestABookingNeedsAKeyThatCanBeKept(t *testing.T) {
	s := newSalon(t)
	body := object{"client_id": s.client("Mara"), "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
	before := s.tables()()
	for _, key := range []string{"", "   ", `""`, `"  "`} {
		p := s.call("POST", "/v1/visits", body, "Idempotency-Key", key).refused(400, "idempotency-key")
		require.NotEmpty(t, p.Detail)
	}
	for _, key := range []string{strings.Repeat("k", 256), "\xff", "a\tb", "\"a\\u0000b\""} {
		p := s.call("POST", "/v1/visits", body, "Idempotency-Key", key).refused(422, "invalid")
		require.Equal(t, []string{"header Idempotency-Key"}, pointers(p), "%q", key)
	}
	require.Equal(t, before, s.tables()())
	s.call("POST", "/v1/visits", body, "Idempotency-Key", strings.Repeat("k", 255)).is(201, nil)
}

func TestAClashIsAnsweredAgainWithFreshAlternatives(t *testing.T) {
	s := newSalon(t)
	s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	body := object{"client_id": s.client("Nora"), "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
	first := s.call("POST", "/v1/visits", body, "Idempotency-Key", "late").refused(409, "taken")
	s.book(s.client("Ines"), first.Alternatives[0].Start, s.straightening())
	before := s.tables()()
	second := s.call("POST", "/v1/visits", body, "Idempotency-Key", "late").refused(409, "taken")
	require.Equal(t, first.Detail, second.Detail)
	require.NotEmpty(t, second.Alternatives)
	require.NotEqual(t, first.Alternatives[0], second.Alternatives[0], "the first of them is taken by now")
	require.Equal(t, before, s.tables()())
}

func TestAFaultyRequestDoesNotUseUpItsKey(t *testing.T) {
	s := newSalon(t)
	body := object{"client_id": "nobody", "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").refused(422, "invalid")
	body["client_id"] = s.client("Mara")
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").is(201, nil)
}

func TestOneKeySentManyTimesAtOnceBooksOnce(t *testing.T) {
	t.Parallel()
	for range 5 {
		s := newSalon(t)
		body := object{"client_id": s.client("Mara"), "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
		answers := s.atOnce(8, func(int) request { return request{"POST", "/v1/visits", body, []string{"Idempotency-Key", "k"}} })
		fresh := 0
		var first []byte
		for _, a := range answers {
			if a.status == 409 {
				a.refused(409, "running")
				require.NotEmpty(t, a.header.Get("Retry-After"))
				continue
			}
			a.is(201, nil)
			if a.header.Get("Idempotent-Replayed") == "" {
				fresh++
			}
			if first == nil {
				first = a.body
			}
			require.Equal(t, string(first), string(a.body))
		}
		require.Equal(t, 1, fresh)
		var list struct{ Items []api.VisitBody }
		s.call("GET", "/v1/visits?first_date=2026-06-09&last_date=2026-06-09", nil).is(200, &list)
		require.Len(t, list.Items, 1)
	}
}
