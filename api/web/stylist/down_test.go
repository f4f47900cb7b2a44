package stylist_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/web/webtest"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestWhileTheDatabaseIsAwayThePhoneShowsTheDayAsItWasAndKeepsTaps(t *testing.T) {
	database := storetest.Real(t)
	s := webtest.NewOn(t, database.URL(), mount)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, nine)
	s.At(at(8, 42))
	b := phone(t, s, store.LeadRole, s.Ada)
	day, visit := s.URL+"/my-day/", s.URL+"/my-day/visits/"+v.ID
	b.Open(day)
	b.Until("the day is kept", dayIsKept)
	admin := func(q string) { storetest.Exec(t, database.AdminURL(), q) }
	admin(`ALTER DATABASE chairblock ALLOW_CONNECTIONS false`)
	admin(`SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = 'chairblock'`)

	b.Open(day)
	waits(b, "No connection. This is as of 08:42.")
	require.Contains(t, b.Text(), "Next: Juna at 09:00")
	view(b, "day-down")
	b.Open(s.URL + "/my-day/pace")
	require.Contains(t, b.Text(), "again", "of what was not kept the server says that it is away")
	b.Open(visit)
	waits(b, "No connection. This is as of 08:42.")
	b.Click(`.nextbar:not([hidden]) button`)
	waits(b, "1 tap waits to be sent")
	b.Open(visit)
	waits(b, "1 tap waits to be sent")
	require.Contains(t, b.Eval(`document.getElementById("state").innerText`), "Is here")
	view(b, "visit-down")

	admin(`ALTER DATABASE chairblock ALLOW_CONNECTIONS true`)
	b.Open(visit)
	require.Eventually(t, func() bool { return run(s, v.ID).State == "arrived" }, time.Minute, 50*time.Millisecond)
	b.Until("nothing is said of it any more", `!document.getElementById("outbox").innerText.includes("connection")`)
	b.Forget("Manifest fetch")
	b.Forget("Failed to load resource")
	b.Quiet()
}
