package store_test

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// kept is what is kept of a token.
func kept(token string) string {
	h := sha256.Sum256([]byte(token))
	return base64.RawURLEncoding.EncodeToString(h[:])
}

// browser signs one in under a token and returns the session's id. What b leaves out
// is that of somebody's own machine, from now on.
func (s *salon) browser(token string, b store.BrowserSession) (id string) {
	s.t.Helper()
	now := time.Now()
	b.Token = kept(token)
	b.Kind = cmp.Or(b.Kind, store.OwnMachine)
	if b.Opened.IsZero() {
		b.Opened = now
	}
	if b.Ends.IsZero() {
		b.Ends = b.Opened.Add(12 * time.Hour)
	}
	b.Idle = cmp.Or(b.Idle, 2*time.Hour)
	require.NoError(s.t, s.store.Sessions().Commit(b.Token, []byte("x"), now.Add(24*time.Hour)))
	s.tx(func(t *store.Tx) (err error) {
		id, err = t.AddBrowserSession(s.t.Context(), b)
		return err
	})
	return id
}

// enrol adds an account.
func (s *salon) enrol(a store.Account) store.Account {
	s.t.Helper()
	s.tx(func(t *store.Tx) (err error) {
		a, err = t.AddAccount(s.t.Context(), a)
		return err
	})
	return a
}

// uses is who uses a browser at a time, by a press.
func (s *salon) uses(token string, at time.Time) (store.SignedIn, error) {
	return s.store.WhoUses(s.t.Context(), kept(token), store.Press{Now: at, Pressed: true, Stays: time.Hour})
}

// asks is the same for a page that keeps itself fresh.
func (s *salon) asks(token string, at time.Time) (store.SignedIn, error) {
	return s.store.WhoUses(s.t.Context(), kept(token), store.Press{Now: at, Stays: time.Hour})
}

func TestABrowserIsUsedByThePersonOfItsAccount(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	a := s.enrol(store.Account{Staff: s.ada, Login: "ada@example.org", Name: "not this", Roles: []store.Role{store.LeadRole, store.Owner}})
	require.Equal(t, []store.Role{store.Owner, store.LeadRole}, a.Roles)
	now := time.Now()
	id := s.browser("t1", store.BrowserSession{Account: a.ID, Device: "Firefox on Linux"})
	who, err := s.uses("t1", now)
	require.NoError(t, err)
	who.Proven = time.Time{}
	require.Equal(t, store.SignedIn{Session: id, Kind: store.OwnMachine, Name: "Ada", Principal: store.Principal{Salon: s.row.ID, Role: store.Owner,
		Roles: []store.Role{store.Owner, store.LeadRole}, TokenID: "account:" + a.ID, StaffID: s.ada, Account: a.ID}}, who)
	s.browser("t2", store.BrowserSession{Role: store.LeadRole, Staff: s.ben})
	who, err = s.uses("t2", now)
	require.NoError(t, err)
	require.Equal(t, "Ben", who.Name)
	require.Equal(t, store.Principal{Salon: s.row.ID, Role: store.LeadRole, Roles: []store.Role{store.LeadRole}, TokenID: "session:" + who.Session, StaffID: s.ben}, who.Principal)
	_, err = s.uses("t3", now)
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	s.tx(func(tx *store.Tx) error {
		list, err := tx.BrowsersOf(t.Context(), a.ID, now)
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.Equal(t, "Firefox on Linux", list[0].Device)
		require.Equal(t, 2*time.Hour, list[0].Idle)
		counts, err := tx.Browsers(t.Context(), now)
		require.Equal(t, map[string]int{a.ID: 1}, counts)
		return err
	})
}

func TestABrowserIsSignedOutWhenItsTimeIsOver(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	a := s.enrol(store.Account{Login: "a@example.org", Name: "Carla", Roles: []store.Role{store.Desk}})
	at := time.Now()
	s.browser("t", store.BrowserSession{Account: a.ID, Opened: at})
	is := func(hours float64, want error) {
		t.Helper()
		_, err := s.uses("t", at.Add(time.Duration(hours*float64(time.Hour))))
		require.ErrorIs(t, err, want)
	}
	is(1.9, nil)
	is(3.8, nil)
	is(5.9, scheduling.ErrNotFound) // unused for more than two hours
	is(5.7, nil)
	is(7.6, nil)
	is(9.5, nil)
	is(11.4, nil)
	is(12.1, scheduling.ErrNotFound) // although it was used
	s.browser("gone", store.BrowserSession{Account: a.ID})
	require.NoError(t, s.store.Sessions().Delete(kept("gone")))
	_, err := s.uses("gone", at)
	require.ErrorIs(t, err, scheduling.ErrNotFound, "the library has ended it")
}

func TestAClockThatIsSetGivesNobodyMoreThanTwiceHerTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	a := s.enrol(store.Account{Login: "a@example.org", Name: "Carla", Roles: []store.Role{store.Owner}})
	at := time.Now().Truncate(time.Second)
	// Two hours unused and twelve in all; hours are those that the clock shows.
	is := func(token string, hours float64, want error) {
		t.Helper()
		_, err := s.uses(token, at.Add(time.Duration(hours*float64(time.Hour))))
		require.ErrorIs(t, err, want)
	}
	s.browser("ahead", store.BrowserSession{Account: a.ID, Opened: at})
	is("ahead", 0.5, nil)
	is("ahead", 1.6, nil) // an hour ahead, and back:
	is("ahead", 0.7, nil)
	is("ahead", 2.8, scheduling.ErrNotFound) // it counts from the last press, whatever the clock showed in between
	is("ahead", 2.6, nil)
	is("ahead", 0.5, scheduling.ErrNotFound) // back by more than it may be unused: nobody knows for how long it was
	for h := 4.0; h < 12; h++ {
		is("ahead", h, nil)
	}
	is("ahead", 12, scheduling.ErrNotFound)

	s.browser("later", store.BrowserSession{Account: a.ID, Opened: at.Add(time.Hour)})
	is("later", 0, nil) // opened while it was an hour ahead
	for h := 1.0; h < 13; h++ {
		is("later", h, nil)
	}
	is("later", 13, scheduling.ErrNotFound)
	s.browser("much", store.BrowserSession{Account: a.ID, Opened: at.AddDate(1, 0, 0)})
	is("much", 0, scheduling.ErrNotFound)
	s.tx(func(tx *store.Tx) error {
		list, err := tx.BrowsersOf(ctx, a.ID, at)
		require.NoError(t, err)
		require.Empty(t, list, "neither is shown: the first two were used ten hours later than now")
		counts, err := tx.Browsers(ctx, at.Add(12*time.Hour))
		require.Equal(t, map[string]int{a.ID: 1}, counts)
		return err
	})

	screen := s.browser("screen", store.BrowserSession{Account: a.ID, Kind: store.SharedScreen})
	s.tx(func(tx *store.Tx) error { return tx.SetPerson(ctx, screen, a.ID, at.Add(3*time.Minute)) })
	for minutes, changes := range map[int]bool{0: true, -2: true, -4: false, -60: false} {
		who, err := s.store.WhoUses(ctx, kept("screen"), store.Press{Now: at.Add(time.Duration(minutes) * time.Minute), Stays: 3 * time.Minute})
		require.NoError(t, err)
		require.Equal(t, changes, !who.ReadOnly, "%d min", minutes)
	}
}

func TestUsesAreWrittenDownOnceAMinute(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	a := s.enrol(store.Account{Login: "a@example.org", Name: "Carla", Roles: []store.Role{store.Desk}})
	at := time.Now().Truncate(time.Second)
	id := s.browser("t", store.BrowserSession{Account: a.ID, Opened: at})
	const row = `SELECT xmin::text || last_used_at FROM browser_session WHERE session_id = $1`
	before := value[string](s, row, id)
	for _, seconds := range []int{0, 1, 30, 59, 60} {
		_, err := s.uses("t", at.Add(time.Duration(seconds)*time.Second))
		require.NoError(t, err)
		require.Equal(t, before, value[string](s, row, id), seconds)
	}
	_, err := s.uses("t", at.Add(61*time.Second))
	require.NoError(t, err)
	require.NotEqual(t, before, value[string](s, row, id))
	require.True(t, at.Add(61*time.Second).Equal(value[time.Time](s, `SELECT last_used_at FROM browser_session WHERE session_id = $1`, id)))
}

func TestWhoeverLeavesOrIsDisabledIsSignedOutAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	ada := s.enrol(store.Account{Staff: s.ada, Login: "ada@example.org", Roles: []store.Role{store.LeadRole, store.Desk}})
	ben := s.enrol(store.Account{Staff: s.ben, Login: "ben@example.org", Roles: []store.Role{store.LeadRole, store.Owner}})
	s.browser("ada", store.BrowserSession{Account: ada.ID})
	s.browser("ben", store.BrowserSession{Account: ben.ID})
	s.browser("link", store.BrowserSession{Role: store.LeadRole, Staff: s.ada})
	screen := s.browser("screen", store.BrowserSession{Account: ben.ID, Kind: store.SharedScreen})
	now := time.Now()
	s.tx(func(tx *store.Tx) error { return tx.SetPerson(ctx, screen, ada.ID, now.Add(time.Hour)) })
	active := func(id string, yes bool) {
		s.tx(func(tx *store.Tx) error {
			p, err := tx.StaffByID(ctx, id)
			require.NoError(t, err)
			p.Active = yes
			_, err = tx.UpdateStaff(ctx, p)
			return err
		})
	}
	var adasLink, bensLink string
	s.tx(func(tx *store.Tx) (err error) {
		if adasLink, err = tx.AddPasswordLink(ctx, ada.ID, now.Add(time.Hour)); err != nil {
			return err
		}
		bensLink, err = tx.AddPasswordLink(ctx, ben.ID, now.Add(time.Hour))
		return err
	})
	active(s.ada, false)
	active(s.ben, false)
	for _, again := range []bool{false, true} {
		for _, token := range []string{"ada", "link"} {
			_, err := s.uses(token, now)
			require.ErrorIs(t, err, scheduling.ErrNotFound, token)
		}
		who, err := s.uses("screen", now)
		require.NoError(t, err)
		require.True(t, who.ReadOnly)
		require.ErrorIs(t, s.find(adasLink), scheduling.ErrNotFound)
		require.NoError(t, s.find(bensLink))
		if !again {
			who, err = s.uses("ben", now)
			require.NoError(t, err, "an owner who works at the chair no more")
			require.Equal(t, []store.Role{store.Owner}, who.Roles)
			require.Empty(t, who.StaffID)
			found, err := s.store.CredentialsOf(ctx, "ada@example.org")
			require.NoError(t, err)
			require.Empty(t, found)
			found, err = s.store.CredentialsOf(ctx, "ben@example.org")
			require.NoError(t, err)
			require.Len(t, found, 1)
			active(s.ada, true) // coming back gives nothing back
			active(s.ben, true)
		}
	}
	s.browser("ada", store.BrowserSession{Account: ada.ID, Opened: now})
	s.tx(func(tx *store.Tx) error {
		a, err := tx.AccountByID(ctx, ada.ID)
		require.NoError(t, err)
		a.Disabled = &now
		_, err = tx.UpdateAccount(ctx, a)
		return err
	})
	_, err := s.uses("ada", now)
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	found, err := s.store.CredentialsOf(ctx, "ada@example.org")
	require.NoError(t, err)
	require.Empty(t, found)
	s.tx(func(tx *store.Tx) error {
		require.ErrorIs(t, tx.SetPassword(ctx, ada.ID, "", "hash", ""), scheduling.ErrNotFound)
		_, err := tx.SecretsOf(ctx, ada.ID)
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		return nil
	})
}

func TestASharedScreenIsThePersonWhoSaidWhoSheIsForAWhile(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	opener := s.enrol(store.Account{Login: "o@example.org", Name: "Carla", Roles: []store.Role{store.Owner}})
	ada := s.enrol(store.Account{Staff: s.ada, Login: "ada@example.org", Roles: []store.Role{store.LeadRole}})
	id := s.browser("t", store.BrowserSession{Account: opener.ID, Kind: store.SharedScreen})
	at := time.Now().Truncate(time.Second)
	press := func(seconds int, pressed time.Duration) store.SignedIn {
		t.Helper()
		who, err := s.store.WhoUses(ctx, kept("t"), store.Press{Now: at.Add(time.Duration(seconds) * time.Second), Stays: 3 * time.Minute, Pressed: pressed > 0})
		require.NoError(t, err)
		return who
	}
	nobody := store.Principal{Salon: s.row.ID, Role: store.Desk, TokenID: "session:" + id, ReadOnly: true}
	who := press(0, 3*time.Minute)
	require.Equal(t, nobody, who.Principal)
	require.Zero(t, who.Until)
	s.tx(func(tx *store.Tx) error { return tx.SetPerson(ctx, id, ada.ID, at.Add(3*time.Minute)) })
	who = press(5, 0)
	require.Equal(t, "Ada", who.Name)
	require.Equal(t, store.Principal{Salon: s.row.ID, Role: store.LeadRole, Roles: []store.Role{store.LeadRole}, TokenID: "account:" + ada.ID, StaffID: s.ada, Account: ada.ID}, who.Principal)
	require.Equal(t, at.Add(3*time.Minute).UTC(), who.Until.UTC())
	require.Equal(t, at.Add(4*time.Minute).UTC(), press(60, 3*time.Minute).Until.UTC(), "a press prolongs it")
	require.Equal(t, at.Add(4*time.Minute).UTC(), press(120, 0).Until.UTC(), "a page that keeps itself fresh does not")
	require.Equal(t, store.LeadRole, press(239, 0).Role)
	require.Equal(t, nobody, press(240, 3*time.Minute).Principal)
	s.tx(func(tx *store.Tx) error { return tx.SetPerson(ctx, id, ada.ID, at.Add(10*time.Minute)) })
	require.Equal(t, at.Add(10*time.Minute).UTC(), press(300, 3*time.Minute).Until.UTC(), "a press shortens nothing")
	s.tx(func(tx *store.Tx) error { return tx.SetPerson(ctx, id, "", at) })
	require.Equal(t, nobody, press(300, 0).Principal)
	s.tx(func(tx *store.Tx) error {
		require.ErrorIs(t, tx.SetPerson(ctx, store.NewID(), ada.ID, at), scheduling.ErrNotFound)
		require.ErrorIs(t, tx.ShareScreen(ctx, store.NewID(), at, time.Hour), scheduling.ErrNotFound)
		return nil
	})
}

func TestTriesOfOneNameAtOnceAreCountedOneAfterTheOther(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	ctx := t.Context()
	a := s.enrol(store.Account{Login: "a@example.org", Name: "Carla", Roles: []store.Role{store.Owner}})
	at := time.Now().Truncate(time.Second)
	var all sync.WaitGroup
	tries := make([]int, 20)
	for i := range tries {
		all.Go(func() {
			s.tx(func(tx *store.Tx) error {
				return tx.GuardCodes(ctx, a.ID, at, func(w *store.WrongCodes) {
					w.Misses++
					tries[i], w.Since, w.Locked = w.Misses, at, at.Add(time.Minute)
				})
			})
		})
	}
	all.Wait()
	slices.Sort(tries)
	for i, n := range tries {
		require.Equal(t, i+1, n)
	}
	guard := func(tx *store.Tx) (w store.WrongCodes) {
		require.NoError(t, tx.GuardCodes(ctx, a.ID, at, func(x *store.WrongCodes) { w = *x }))
		return w
	}
	s.tx(func(tx *store.Tx) error {
		w := guard(tx)
		require.Equal(t, 20, w.Misses)
		require.True(t, w.Locked.Equal(at.Add(time.Minute)) && w.Since.Equal(at))
		require.NoError(t, tx.SetCode(ctx, a.ID, "another", ""))
		require.Zero(t, guard(tx).Misses, "another code begins anew")
		return nil
	})
}

func TestWhoHasAnotherCodeIsOnNoOtherScreenAnyMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	a := s.enrol(store.Account{Login: "a@example.org", Name: "Carla", Roles: []store.Role{store.Owner}})
	for _, code := range []string{"another", ""} {
		here := s.browser("here"+code, store.BrowserSession{Account: a.ID, Kind: store.SharedScreen})
		there := s.browser("there"+code, store.BrowserSession{Account: a.ID, Kind: store.SharedScreen})
		s.tx(func(tx *store.Tx) error {
			for _, id := range []string{here, there} {
				require.NoError(t, tx.SetPerson(ctx, id, a.ID, time.Now().Add(time.Hour)))
			}
			return tx.SetCode(ctx, a.ID, code, here)
		})
		who, err := s.uses("here"+code, time.Now())
		require.NoError(t, err)
		require.False(t, who.ReadOnly)
		who, err = s.uses("there"+code, time.Now())
		require.NoError(t, err)
		require.True(t, who.ReadOnly)
	}
}

func TestASharedScreenEndsWhenWhoSharedItIsOfTheDeskNoMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	a := s.enrol(store.Account{Staff: s.ada, Login: "a@example.org", Roles: []store.Role{store.Desk, store.LeadRole}})
	s.browser("screen", store.BrowserSession{Account: a.ID, Kind: store.SharedScreen})
	s.browser("own", store.BrowserSession{Account: a.ID})
	s.tx(func(tx *store.Tx) error {
		a, err := tx.AccountByID(ctx, a.ID)
		require.NoError(t, err)
		a.Roles = []store.Role{store.LeadRole}
		_, err = tx.UpdateAccount(ctx, a)
		return err
	})
	_, err := s.uses("screen", time.Now())
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	who, err := s.uses("own", time.Now())
	require.NoError(t, err)
	require.Equal(t, store.LeadRole, who.Role)
}

func TestAPasswordProvesForWhomItWasGiven(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	a := s.enrol(store.Account{Login: "a@example.org", Name: "Carla", Roles: []store.Role{store.Owner}})
	b := s.enrol(store.Account{Login: "b@example.org", Name: "Noor", Roles: []store.Role{store.Owner}})
	at := time.Now().Truncate(time.Second)
	s.browser("own", store.BrowserSession{Account: a.ID, Opened: at})
	screen := s.browser("screen", store.BrowserSession{Account: a.ID, Kind: store.SharedScreen, Opened: at})
	s.browser("link", store.BrowserSession{Role: store.Owner, Opened: at})
	proven := func(token string) time.Time {
		who, err := s.uses(token, at.Add(time.Minute))
		require.NoError(t, err)
		return who.Proven
	}
	require.True(t, proven("own").Equal(at))
	require.Zero(t, proven("screen"), "nobody has said who she is")
	require.Zero(t, proven("link"), "there is no password")
	s.tx(func(tx *store.Tx) error { return tx.SetPerson(ctx, screen, b.ID, at.Add(time.Hour)) })
	require.Zero(t, proven("screen"), "a code proves less")
	s.tx(func(tx *store.Tx) error { return tx.SetProven(ctx, screen, b.ID, at.Add(time.Second)) })
	require.True(t, proven("screen").Equal(at.Add(time.Second)))
	s.tx(func(tx *store.Tx) error { return tx.SetProven(ctx, screen, a.ID, at.Add(time.Second)) })
	require.Zero(t, proven("screen"), "of somebody else")
}

func TestABrowserThatNobodyPressesIsUnused(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	a := s.enrol(store.Account{Login: "a@example.org", Name: "Carla", Roles: []store.Role{store.Desk}})
	at := time.Now().Truncate(time.Second)
	s.browser("t", store.BrowserSession{Account: a.ID, Opened: at})
	for minutes := 1; minutes < 120; minutes += 10 {
		_, err := s.asks("t", at.Add(time.Duration(minutes)*time.Minute))
		require.NoError(t, err)
	}
	_, err := s.asks("t", at.Add(121*time.Minute))
	require.ErrorIs(t, err, scheduling.ErrNotFound)
}

func TestTheKeyForBrowsersIsOneForAll(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	keys := make([][]byte, 8)
	var all sync.WaitGroup
	for i := range keys {
		all.Go(func() {
			var err error
			keys[i], err = s.store.BrowserKey(t.Context())
			require.NoError(t, err)
		})
	}
	all.Wait()
	for _, k := range keys {
		require.Len(t, k, 32)
		require.Equal(t, keys[0], k)
	}
}

func TestALoginIsOneAccountsInASalonAndMayBeInAnother(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.second()
	ctx := t.Context()
	a := s.enrol(store.Account{Login: "a@example.org", Name: "Carla", Roles: []store.Role{store.Owner}})
	b := other.enrol(store.Account{Login: "a@example.org", Name: "Carla", Roles: []store.Role{store.Desk}})
	s.enrol(store.Account{Staff: s.ada, Login: "b@example.org", Roles: []store.Role{store.Desk}})
	for field, x := range map[string]store.Account{"mail": {Login: "a@example.org", Roles: []store.Role{store.Desk}}, "staff_id": {Staff: s.ada, Roles: []store.Role{store.Desk}}} {
		err := s.try(func(tx *store.Tx) error { _, err := tx.AddAccount(ctx, x); return err })
		var wrong *scheduling.InvalidError
		require.ErrorAs(t, err, &wrong)
		require.Equal(t, field, wrong.Field)
	}
	s.enrol(store.Account{Roles: []store.Role{store.Desk}})
	s.enrol(store.Account{Roles: []store.Role{store.Desk}}) // several who have named none
	for i, x := range []*salon{s, other} {
		x.tx(func(tx *store.Tx) error {
			return tx.SetPassword(ctx, []string{a.ID, b.ID}[i], "ignored@example.org", "hash of "+x.row.ID, "")
		})
	}
	found, err := s.store.CredentialsOf(ctx, "a@example.org")
	require.NoError(t, err)
	require.Len(t, found, 2)
	require.Equal(t, []string{s.row.ID, a.ID, "hash of " + s.row.ID}, []string{found[0].Salon, found[0].Account, found[0].Password})
	require.Equal(t, other.row.ID, found[1].Salon)
	found, err = s.store.CredentialsOf(ctx, "ignored@example.org")
	require.NoError(t, err)
	require.Empty(t, found, "who has named an address keeps it")
}

func TestANewPasswordSignsOutEveryOtherBrowser(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	a := s.enrol(store.Account{Name: "Carla", Roles: []store.Role{store.Owner}})
	this := s.browser("this", store.BrowserSession{Account: a.ID})
	s.browser("other", store.BrowserSession{Account: a.ID})
	var link, newer string
	s.tx(func(tx *store.Tx) (err error) {
		link, err = tx.AddPasswordLink(ctx, a.ID, time.Now().Add(time.Hour))
		return err
	})
	x, err := s.store.LinkBySecret(ctx, link, time.Now())
	require.NoError(t, err)
	require.Equal(t, store.Link{Salon: s.row.ID, SalonName: s.row.Name, Role: store.Owner, Account: a.ID, Name: "Carla"}, x)
	s.tx(func(tx *store.Tx) (err error) {
		newer, err = tx.AddPasswordLink(ctx, a.ID, time.Now().Add(time.Hour))
		return err
	})
	require.ErrorIs(t, s.find(link), scheduling.ErrNotFound, "a newer one was made")
	owners, err := s.store.OwnersWithoutPassword(ctx)
	require.NoError(t, err)
	require.Equal(t, []store.OwnerAccount{{Salon: s.row.ID, SalonName: s.row.Name, Account: a.ID}}, owners)
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.UseLink(ctx, newer, time.Now()))
		return tx.SetPassword(ctx, a.ID, "carla@example.org", "hash", this)
	})
	_, err = s.uses("this", time.Now())
	require.NoError(t, err)
	_, err = s.uses("other", time.Now())
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	owners, err = s.store.OwnersWithoutPassword(ctx)
	require.NoError(t, err)
	require.Empty(t, owners)
	found, err := s.store.CredentialsOf(ctx, "carla@example.org")
	require.NoError(t, err)
	require.Len(t, found, 1)
	third := s.browser("third", store.BrowserSession{Account: a.ID})
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.EndSession(ctx, a.ID, third))
		require.ErrorIs(t, tx.EndSession(ctx, a.ID, third), scheduling.ErrNotFound)
		return nil
	})
	_, err = s.uses("third", time.Now())
	require.ErrorIs(t, err, scheduling.ErrNotFound)
}

func BenchmarkWhoUses(b *testing.B) {
	s := newSalon(b, 4)
	a := s.enrol(store.Account{Staff: s.ada, Login: "ada@example.org", Roles: []store.Role{store.LeadRole}})
	for range 500 {
		s.browser(rand.Text(), store.BrowserSession{Account: a.ID})
	}
	s.browser("t", store.BrowserSession{Account: a.ID})
	now := time.Now()
	for b.Loop() {
		if _, err := s.uses("t", now); err != nil {
			b.Fatal(err)
		}
	}
}

func TestATokenIsNotWaitedForLongerThanTheRequestLasts(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	x := s.store.Sessions()
	require.NoError(t, x.Commit(kept("t1"), []byte("x"), time.Now().Add(time.Hour)))
	var held, taken sync.WaitGroup
	free := make(chan struct{})
	for range 2 { // all connections
		taken.Add(1)
		held.Go(func() {
			require.NoError(t, s.try(func(*store.Tx) error { taken.Done(); <-free; return nil }))
		})
	}
	taken.Wait()
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	_, _, err := x.FindCtx(ctx, kept("t1"))
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.ErrorIs(t, x.CommitCtx(ctx, kept("t1"), []byte("y"), time.Now().Add(time.Hour)), context.DeadlineExceeded)
	require.ErrorIs(t, x.DeleteCtx(ctx, kept("t1")), context.DeadlineExceeded)
	close(free)
	held.Wait()

	gone, hangUp := context.WithCancel(t.Context())
	hangUp()
	_, found, err := x.FindCtx(gone, kept("t1"))
	require.NoError(t, err)
	require.True(t, found)
	require.NoError(t, x.DeleteCtx(gone, kept("t1")), "who closes the page is signed out all the same")
	_, found, err = x.Find(kept("t1"))
	require.NoError(t, err)
	require.False(t, found)
}
