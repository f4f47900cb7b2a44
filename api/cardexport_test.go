package api_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestAllCardsOfAClientAreGivenAwayWithWhatWasCorrected(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	x := inSolution(s)
	first := x.write(object{"iron": object{"setting": 200}}).Fact.ID
	x.call("POST", "/v1/visits/"+x.id+"/card/facts/"+first+"/correction", object{"iron": object{"setting": 170}}).is(201, nil)
	s.at(monday(10, 0))
	x.stop(nil).is(201, nil)
	s.book(x.v.ClientID, dayAfter(30, 9, 0), s.straightening())
	var out api.CardsAnswer
	s.call("GET", "/v1/clients/"+x.v.ClientID+"/cards", nil).is(200, &out)
	require.Equal(t, "Mara Quist", out.Name)
	require.Len(t, out.Cards, 1, "what has not begun has no card")
	require.Len(t, out.Cards[0].Facts, 3)
	require.Equal(t, "red behind the left ear", out.Cards[0].Stopped.Detail)
	s.call("GET", "/v1/clients/nobody/cards", nil).refused(404, "not-found")
	var none api.CardsAnswer
	s.call("GET", "/v1/clients/"+s.client("Nora")+"/cards", nil).is(200, &none)
	require.Empty(t, none.Cards)
}

func TestTheCardsOfAClientCanBeReadOnAPageByFew(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.server.MountPages()
	x := inSolution(s)
	x.write(object{"iron": object{"setting": 200}})
	s.at(monday(10, 0))
	x.stop(nil).is(201, nil)
	path := "/clients/" + x.v.ClientID + "/cards.html"
	owner := s.desk(store.Owner).get(path)
	require.Equal(t, 200, owner.code)
	for _, want := range []string{"<h1>Mara Quist, record cards</h1>", "iron at 200 °C", "never above 180 °C", "red behind the left ear", "Product on first section", "hair seen: as it was booked"} {
		require.Contains(t, owner.page, want)
	}
	desk := s.desk(store.Desk).get(path)
	require.Equal(t, 403, desk.code)
	require.NotContains(t, desk.page, "left ear")
	require.Equal(t, 404, owner.get("/clients/nobody/cards.html").code)
	res, err := http.Get(s.http.URL + path)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, 401, res.StatusCode)
}
