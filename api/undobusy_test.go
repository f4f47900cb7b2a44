package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestAVisitIsNotBookedAgainWhileItsClientHasAnotherOneAtThatTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	at := start.Add(50 * time.Hour)
	v, tag := s.book(client, at, s.straightening())
	s.at(at.Add(30 * time.Minute))
	tag = s.call("POST", "/v1/visits/"+v.ID+"/miss", nil, "If-Match", tag).is(200, nil).header.Get("ETag")
	other, off := s.book(client, at.Add(2*time.Hour), s.trim(s.ben))
	require.True(t, other.Start.Before(v.End))
	p := s.call("POST", "/v1/visits/"+v.ID+"/miss/undo", nil, "If-Match", tag).refused(409, "taken")
	require.Equal(t, "the client has another visit at that time", p.Detail)
	s.call("POST", "/v1/visits/"+other.ID+"/cancel", nil, "If-Match", off).is(200, nil)
	var b api.VisitBody
	s.call("POST", "/v1/visits/"+v.ID+"/miss/undo", nil, "If-Match", tag).is(200, &b)
	require.Equal(t, "booked", b.State)
}

func TestACancellationIsNotUndoneWhileTheClientHasAnotherVisitAtThatTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	v, tag := s.book(client, start.Add(50*time.Hour), s.straightening())
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	var last api.UndoBody
	s.call("GET", "/v1/undo", nil).is(200, &last)
	s.as(store.Desk).book(client, start.Add(52*time.Hour), s.trim(s.ben))
	p := s.call("POST", "/v1/undo", object{"id": last.Action.ID}).refused(409, "taken")
	require.Equal(t, "the client has another visit at that time", p.Detail)
}
