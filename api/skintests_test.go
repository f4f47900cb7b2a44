package api_test

import (
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestAReadingCannotComeBeforeTheTestOrFromTheFuture(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	test := s.skinTest(client, start.Add(-24*time.Hour))
	require.Equal(t, []string{"body /read_at"}, pointers(s.readTest(test, "negative", object{"read_at": start.Add(-25 * time.Hour)}).refused(422, "invalid")))
	require.Equal(t, []string{"body /read_at"}, pointers(s.readTest(test, "negative", object{"read_at": start.Add(time.Hour)}).refused(422, "invalid")))
	require.Equal(t, []string{"body /put_on_at"}, pointers(s.call("POST", "/v1/clients/"+client+"/skin-tests",
		object{"product": "A", "strength": "", "place": "inner_elbow", "by": "Ada", "put_on_at": start.Add(time.Hour)}).refused(422, "invalid")))
	require.Equal(t, []string{"body /put_on_at", "body /by"}, pointers(s.call("POST", "/v1/clients/"+client+"/skin-tests",
		object{"product": "A", "strength": "", "place": "inner_elbow", "by": "Nobody", "put_on_at": start.AddDate(-40, 0, 0)}).refused(422, "invalid")))
	require.Equal(t, []string{"body /by"}, pointers(s.call("POST", "/v1/clients/"+client+"/strand-tests", object{"product": "A", "strength": "", "result": "fine"}).refused(422, "invalid")))
	s.readTest(strings.Repeat("0", 36), "negative", nil).refused(404, "not-found")
	s.readTest(test, "negative", nil).is(201, nil)
}

func TestOfTwoWhoReadOneTestAtOnceOneIsTold(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	test := s.skinTest(client, start.Add(-48*time.Hour))
	var wait sync.WaitGroup
	var mu sync.Mutex
	got := map[int]int{}
	for range 6 {
		wait.Go(func() {
			a, err := s.try("POST", "/v1/skin-tests/"+test+"/reading", object{"result": "negative", "by": "Ada"})
			mu.Lock()
			defer mu.Unlock()
			require.NoError(t, err)
			got[a.status]++
		})
	}
	wait.Wait()
	require.Equal(t, map[int]int{http.StatusCreated: 1, http.StatusConflict: 5}, got)
}

func TestADefiniteReadingIsCorrectedWithAReasonByTheLicensedOnly(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	test := s.skinTest(client, start.Add(-48*time.Hour))
	s.readTest(test, "unclear", nil).is(201, nil)
	s.readTest(test, "negative", nil).is(201, nil) // unclear is read again without a word why
	s.readTest(test, "positive", nil).is(201, nil) // and it may turn positive
	s.readTest(test, "negative", nil).refused(409, "conflict")
	require.Equal(t, []string{"body /by"}, pointers(s.readTest(test, "negative", object{"by": "Mina", "correction": "another client's"}).refused(422, "invalid")))
	s.readTest(test, "negative", object{"correction": "noted on the wrong client"}).is(201, nil)
	var list struct{ Items []api.SkinTestBody }
	s.call("GET", "/v1/clients/"+client+"/skin-tests", nil).is(200, &list)
	require.Len(t, list.Items, 1)
	require.Len(t, list.Items[0].Readings, 4)
	require.Equal(t, "negative", list.Items[0].Result)
	require.Equal(t, "negative: counts for visits until 3 December 2026", list.Items[0].Words)
	s.call("POST", "/v1/clients/"+client+"/reactions", object{}).is(201, nil)
	s.call("GET", "/v1/clients/"+client+"/skin-tests", nil).is(200, &list)
	require.True(t, list.Items[0].Void)
}

func TestAValidTestOnRecordMakesTheYesUnnecessary(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	ask := object{"client_id": client, "start": start.Add(26 * time.Hour), "services": s.straightening()}
	book := func(key string) answer { return s.call("POST", "/v1/visits", ask, "Idempotency-Key", key) }
	require.Contains(t, book("a").refused(422, "refused").Detail, "too soon for a new skin test")
	test := s.skinTest(client, start.Add(-72*time.Hour))
	book("b").refused(422, "refused") // nobody has read it
	s.readTest(test, "negative", nil).is(201, nil)
	var v api.VisitBody
	tag := book("c").is(201, &v).header.Get("ETag")
	require.Contains(t, s.needed(v.ID), "patch_test done")
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": start.Add(28 * time.Hour)}, "If-Match", tag).is(200, nil)
	s.call("POST", "/v1/clients/"+client+"/reactions", object{}).is(201, nil)
	tag = s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")
	s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": start.Add(27 * time.Hour)}, "If-Match", tag).refused(422, "refused")
}

func TestASkinTestThatWasReadTooSoonIsReadAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(97*time.Hour), s.straightening())
	test := s.skinTest(client, start)
	s.at(start.Add(3 * time.Hour))
	s.readTest(test, "negative", nil).is(201, nil)
	require.NotContains(t, s.needed(v.ID), "patch_test done")
	s.at(start.Add(49 * time.Hour))
	s.readTest(test, "negative", nil).is(201, nil)
	require.Contains(t, s.needed(v.ID), "patch_test done")
	s.readTest(test, "negative", nil).refused(409, "conflict")
}
