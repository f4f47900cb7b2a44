package store_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// filled is a salon with one row of everything.
type filled struct {
	*salon
	client, visit, held, group, head, estimate, closure, absence, token, feed, wish, plan string
	call                                                                                  store.Call

	screening             string
	test, consent         string
	product, quote, entry string
	private               string

	accountID, browserID, linkSecret string
}

func (s *salon) filled() *filled {
	s.t.Helper()
	ctx := s.t.Context()
	x := &filled{salon: s.opened(), call: call("key " + s.row.ID)}
	x.client = s.client("Guest " + s.row.ID)
	x.visit = s.booked(x.client, at(9, 0), s.seat()).ID
	x.held = x.hold(at(19, 0), x.seat(), at(8, 30)).ID
	x.remind(x.visit, at(8, 0))
	x.private = s.private().ID
	x.enrolled()
	x.screening = x.screened(x.client, at(8, 0), nil).ID
	s.tx(func(t *store.Tx) error {
		return t.NoteHealthRead(ctx, store.HealthRead{Screening: x.screening, At: at(8, 0), What: "made", Role: "lead", Staff: x.ada, Token: "t"})
	})
	s.tx(func(t *store.Tx) error {
		hair := json.RawMessage(`{"note": "hair of ` + s.row.ID + `"}`)
		h, err := t.AddHead(ctx, store.Head{Client: x.client, MeasuredOn: date.New(2026, time.May, 1), Hair: hair})
		require.NoError(s.t, err)
		e, err := t.AddEstimate(ctx, store.Estimate{Service: s.service.ID, ServiceVersion: 1, Client: &x.client, Head: &h.ID, Hair: hair, Result: hair})
		require.NoError(s.t, err)
		c, err := t.AddClosure(ctx, store.Closure{First: date.New(2031, time.May, 1), Last: date.New(2031, time.May, 1)})
		require.NoError(s.t, err)
		a, err := t.AddAbsence(ctx, store.Absence{Unit: s.ben, From: at(9, 0), To: at(10, 0)})
		require.NoError(s.t, err)
		x.token, _, err = t.AddToken(ctx, store.Desk, s.ben, "desk", nil)
		require.NoError(s.t, err)
		f, _, err := t.AddFeed(ctx, "staff", s.ada, "")
		require.NoError(s.t, err)
		g, err := t.AddGroup(ctx, store.Group{How: "arrive_together"})
		require.NoError(s.t, err)
		require.NoError(s.t, t.SetVisitGroup(ctx, &store.Visit{ID: x.visit, Group: &g.ID}))
		_, err = t.AddHairTreatment(ctx, store.HairTreatment{Client: x.client, Kind: "coloured", DoneOn: date.New(2025, time.May, 1)})
		require.NoError(s.t, err)
		x.account(t)
		x.head, x.estimate, x.closure, x.absence, x.feed, x.group = h.ID, e.ID, c.ID, a.ID, f.ID, g.ID
		require.NoError(s.t, t.ReplacePaces(ctx, paceOf(s.ada)))
		w, err := t.AddWish(ctx, wish(x.client))
		require.NoError(s.t, err)
		p, err := t.AddDayPlan(ctx, plan(), date.New(2000, 1, 1))
		require.NoError(s.t, err)
		x.wish, x.plan = w.ID, p.ID
		require.NoError(s.t, t.AddEvents(ctx, &store.Visit{ID: x.visit}, []store.Event{{Kind: store.EventArrive, At: at(9, 0), Noted: at(9, 1), By: "guard of " + s.row.ID}}))
		_, err = t.AddCardFact(ctx, &store.Card{Visit: x.visit}, fact("note", at(9, 0)))
		require.NoError(s.t, err)
		require.NoError(s.t, t.SetCardLimits(ctx, x.visit, hair))
		require.NoError(s.t, t.AddStop(ctx, stop(x.visit, s.ada)))
		_, _, err = t.Begin(ctx, x.call)
		require.NoError(s.t, err)
		require.NoError(s.t, t.End(x.call, store.Answer{Status: 201, Body: []byte("answer of " + s.row.ID)}))
		x.onRecord(t)
		x.wishAndAnswer(t)
		x.inviteAndReply(t)
		x.called(t)
		x.hersToOpen(t)
		x.byDate(t)
		return t.SyncParts(ctx, x.visit, x.client, []store.Part{part(s.ada, 0, "hands_on", at(9, 0), at(10, 0))})
	})
	return x
}

// ids is everything that names the salon or something in it.
func (x *filled) ids() []string {
	list := append([]string{x.product, x.quote, x.entry, x.row.ID, x.row.Key, x.ada, x.ben, x.mina, x.basin, x.service.ID, x.client, x.visit, x.held, x.head,
		x.estimate, x.closure, x.absence, x.token, x.feed, x.group, x.wish, x.plan, x.screening, x.test, x.consent}, x.chairs...)
	list = append(list, x.private, x.accountID, x.browserID, x.weeks())
	return append(list, rows[string](x.salon, `SELECT reminder_id FROM reminder WHERE salon_id = $1`, x.row.ID)...)
}

// crossing calls each method of a transaction with what belongs to another salon,
// or, where a method takes no id, asks for everything there is.
var crossing = map[string]func(t *store.Tx, x *filled) (any, error){
	"AssistedSteps": func(t *store.Tx, x *filled) (any, error) { return t.AssistedSteps(x.t.Context(), time.Time{}, nil) },
	"Absences":      func(t *store.Tx, x *filled) (any, error) { return t.Absences(x.t.Context(), time.Time{}) },
	"AddCardFact": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.AddCardFact(x.t.Context(), &store.Card{Visit: x.visit}, fact("note", at(9, 0)))
		return nil, err
	},
	"AddStop": func(t *store.Tx, x *filled) (any, error) { return nil, t.AddStop(x.t.Context(), stop(x.visit, x.ada)) },
	"CardOf":  func(t *store.Tx, x *filled) (any, error) { return t.CardOf(x.t.Context(), x.visit) },
	"Cards":   func(t *store.Tx, x *filled) (any, error) { return t.Cards(x.t.Context(), []string{x.visit}) },
	"ClearStop": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.ClearStop(x.t.Context(), x.visit, at(10, 0), x.ada, "guard", "")
	},
	"CutBlocks": func(t *store.Tx, x *filled) (any, error) { return t.CutBlocks(x.t.Context(), x.visit, at(9, 5)) },
	"CutParts": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.CutParts(x.t.Context(), x.visit, x.client, at(9, 5), nil)
	},
	"SetCardLimits": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetCardLimits(x.t.Context(), x.visit, json.RawMessage(`{}`))
	},
	"AddAbsence": func(t *store.Tx, x *filled) (any, error) {
		return t.AddAbsence(x.t.Context(), store.Absence{Unit: x.ada, From: at(1, 0), To: at(2, 0)})
	},
	"AddDayPlan": func(t *store.Tx, x *filled) (any, error) {
		p := plan()
		p.ID = x.plan // which is another one in this salon
		_, err := t.AddDayPlan(x.t.Context(), p, date.New(2100, 1, 1))
		return nil, errors.Join(err, errUndo)
	},
	"AddWish":     func(t *store.Tx, x *filled) (any, error) { return t.AddWish(x.t.Context(), wish(x.client)) },
	"DayPlanByID": func(t *store.Tx, x *filled) (any, error) { return t.DayPlanByID(x.t.Context(), x.plan) },
	"LockDayPlan": func(t *store.Tx, x *filled) (any, error) { return t.LockDayPlan(x.t.Context(), x.plan) },
	"LockWish":    func(t *store.Tx, x *filled) (any, error) { return t.LockWish(x.t.Context(), x.wish) },
	"NoteApplied": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.NoteApplied(x.t.Context(), &store.DayPlan{ID: x.plan, Proposal: json.RawMessage(`1`)}, at(1, 0))
	},
	"SaveWish": func(t *store.Tx, x *filled) (any, error) {
		w := wish(x.client)
		w.ID, w.State = x.wish, store.WishWithdrawn
		return nil, t.SaveWish(x.t.Context(), &w)
	},
	"SettleWishOf": func(t *store.Tx, x *filled) (any, error) { return nil, t.SettleWishOf(x.t.Context(), x.visit) },
	"ReopenWishOf": func(t *store.Tx, x *filled) (any, error) { return nil, t.ReopenWishOf(x.t.Context(), x.visit) },
	"WaitingWishes": func(t *store.Tx, x *filled) (any, error) {
		return t.WaitingWishes(x.t.Context(), date.New(2000, 1, 1), date.New(2100, 1, 1), 100)
	},
	"WishByID":   func(t *store.Tx, x *filled) (any, error) { return t.WishByID(x.t.Context(), x.wish) },
	"Wishes":     func(t *store.Tx, x *filled) (any, error) { return t.Wishes(x.t.Context(), "", "", "", 100) },
	"WishesByID": func(t *store.Tx, x *filled) (any, error) { return t.WishesByID(x.t.Context(), []string{x.wish}) },
	"AddEstimate": func(t *store.Tx, x *filled) (any, error) {
		return t.AddEstimate(x.t.Context(), store.Estimate{Service: x.service.ID, ServiceVersion: 1, Hair: json.RawMessage(`1`), Result: json.RawMessage(`1`)})
	},
	"AddEvents": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.AddEvents(x.t.Context(), &store.Visit{ID: x.visit}, []store.Event{{Kind: store.EventArrive, At: at(9, 0), Noted: at(9, 0)}})
	},
	"AddFeed": func(t *store.Tx, x *filled) (any, error) {
		_, _, err := t.AddFeed(x.t.Context(), "staff", x.ada, "")
		return nil, err
	},
	"AddHead": func(t *store.Tx, x *filled) (any, error) {
		return t.AddHead(x.t.Context(), store.Head{Client: x.client, MeasuredOn: date.NewAt(soon), Hair: json.RawMessage(`1`)})
	},
	"AddHairTreatment": func(t *store.Tx, x *filled) (any, error) {
		return t.AddHairTreatment(x.t.Context(), store.HairTreatment{Client: x.client, Kind: "coloured", DoneOn: date.New(2025, time.May, 1)})
	},
	"DeleteHairTreatment": func(t *store.Tx, x *filled) (any, error) {
		id := rows[string](x.salon, `SELECT treatment_id FROM hair_treatment WHERE salon_id = $1`, x.row.ID)[0]
		return nil, t.DeleteHairTreatment(x.t.Context(), x.client, id)
	},
	"HairTreatments": func(t *store.Tx, x *filled) (any, error) { return t.HairTreatments(x.t.Context(), x.client) },
	"HairVisits":     func(t *store.Tx, x *filled) (any, error) { return t.HairVisits(x.t.Context(), x.client) },
	"PartsInCare": func(t *store.Tx, x *filled) (any, error) {
		return t.PartsInCare(x.t.Context(), x.client, time.Time{})
	},
	"ClientsGrowth": func(t *store.Tx, x *filled) (any, error) { return t.ClientsGrowth(x.t.Context(), []string{x.client}) },
	"RemindersOfVisits": func(t *store.Tx, x *filled) (any, error) {
		return t.RemindersOfVisits(x.t.Context(), []string{x.visit})
	},
	"RescheduleReminders": func(t *store.Tx, x *filled) (any, error) {
		id := rows[string](x.salon, `SELECT reminder_id FROM reminder WHERE salon_id = $1`, x.row.ID)[0]
		return nil, t.RescheduleReminders(x.t.Context(), []store.Rescheduled{{Reminder: id, Due: at(2, 0)}})
	},
	"SetCareRules": func(t *store.Tx, x *filled) (any, error) {
		return t.SetCareRules(x.t.Context(), x.row.Version+7, json.RawMessage(`{}`))
	},
	"SyncClientPartsOf": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SyncClientPartsOf(x.t.Context(), []store.VisitParts{{Visit: x.visit, Client: x.client}})
	},
	"AttemptsOf": func(t *store.Tx, x *filled) (any, error) {
		return t.AttemptsOf(x.t.Context(), rows[string](x.salon, `SELECT reminder_id FROM reminder WHERE salon_id = $1`, x.row.ID))
	},
	"ReminderByID": func(t *store.Tx, x *filled) (any, error) {
		return t.ReminderByID(x.t.Context(), value[string](x.salon, `SELECT min(reminder_id) FROM reminder WHERE salon_id = $1`, x.row.ID))
	},
	"AddReminder": func(t *store.Tx, x *filled) (any, error) {
		return t.AddReminder(x.t.Context(), store.Reminder{Visit: x.visit, Kind: "reminder", Due: at(1, 0), MessageID: "m"})
	},
	"AddReminders": func(t *store.Tx, x *filled) (any, error) {
		return t.AddReminders(x.t.Context(), []store.Reminder{{Visit: x.visit, Kind: "reminder", Due: at(1, 0), MessageID: "m"}})
	},
	"AddSessionLink": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.AddSessionLink(x.t.Context(), store.LeadRole, x.ada, at(48, 0))
		return nil, err
	},
	"AddToken": func(t *store.Tx, x *filled) (any, error) {
		_, _, err := t.AddToken(x.t.Context(), store.Desk, x.ada, "", nil)
		return nil, err
	},
	"RenewToken": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.RenewToken(x.t.Context(), x.token)
		return nil, err
	},
	"Begin": func(t *store.Tx, x *filled) (any, error) {
		a, old, err := t.Begin(x.t.Context(), x.call)
		return fmt.Sprint(string(a.Body), old), errors.Join(err, errUndo)
	},
	"BlocksBetween": func(t *store.Tx, x *filled) (any, error) {
		return t.BlocksBetween(x.t.Context(), at(-24, 0), at(48, 0))
	},
	"BookHeld": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.BookHeld(x.t.Context(), &store.Visit{ID: x.held})
	},
	"ClientByID": func(t *store.Tx, x *filled) (any, error) { return t.ClientByID(x.t.Context(), x.client) },
	"Clients":    func(t *store.Tx, x *filled) (any, error) { return t.Clients(x.t.Context(), "", "", 100) },
	"ClientTimes": func(t *store.Tx, x *filled) (any, error) {
		return t.ClientTimes(x.t.Context(), x.client, at(-48, 0), at(48, 0), "")
	},
	"Closures":      func(t *store.Tx, x *filled) (any, error) { return t.Closures(x.t.Context(), date.New(2000, 1, 1)) },
	"DeleteAbsence": func(t *store.Tx, x *filled) (any, error) { return nil, t.DeleteAbsence(x.t.Context(), x.absence) },
	"DeleteClient":  func(t *store.Tx, x *filled) (any, error) { return nil, t.DeleteClient(x.t.Context(), x.client, 1) },
	"DeleteClosure": func(t *store.Tx, x *filled) (any, error) { return nil, t.DeleteClosure(x.t.Context(), x.closure) },
	"DeleteSalon": func(t *store.Tx, x *filled) (any, error) {
		return nil, errors.Join(t.DeleteSalon(x.t.Context()), errUndo)
	},
	"End": func(t *store.Tx, x *filled) (any, error) {
		return nil, errors.Join(t.End(x.call, store.Answer{Status: 500}), errUndo) // a row of its own
	},
	"EstimateByID": func(t *store.Tx, x *filled) (any, error) { return t.EstimateByID(x.t.Context(), x.estimate) },
	"Feeds":        func(t *store.Tx, x *filled) (any, error) { return t.Feeds(x.t.Context(), "") },
	"FeedByID":     func(t *store.Tx, x *filled) (any, error) { return t.FeedByID(x.t.Context(), x.feed) },
	"FeedState":    func(t *store.Tx, x *filled) (any, error) { return t.FeedState(x.t.Context(), x.feed) },
	"FeedRows": func(t *store.Tx, x *filled) (any, error) {
		return t.FeedRows(x.t.Context(), store.FeedState{Feed: x.feed, Kind: store.FeedStaff, Subject: x.ada}, at(-24, 0), at(48, 0))
	},
	"FeedVisits": func(t *store.Tx, x *filled) (any, error) { return t.FeedVisits(x.t.Context(), []string{x.visit}) },
	"UnitNames":  func(t *store.Tx, x *filled) (any, error) { return t.UnitNames(x.t.Context(), x.ada) },
	"HasFeed":    func(t *store.Tx, x *filled) (any, error) { return t.HasFeed(x.t.Context(), x.client) },
	"RotateFeed": func(t *store.Tx, x *filled) (any, error) {
		_, _, err := t.RotateFeed(x.t.Context(), x.feed)
		return nil, err
	},
	"FreeTime": func(t *store.Tx, x *filled) (any, error) {
		f, err := t.FreeTime(x.t.Context(), zone(x.t), around(soon, 1, 1), time.Now(), x.visit)
		if f.Snapshot == nil {
			return nil, err
		}
		return fmt.Sprint(f.Names, f.Snapshot.Shop()), err
	},
	"HasFutureBlocks": func(t *store.Tx, x *filled) (any, error) {
		yes, err := t.HasFutureBlocks(x.t.Context(), x.ada)
		require.False(x.t, yes)
		return nil, err
	},
	"HasUnit": func(t *store.Tx, x *filled) (any, error) {
		yes, err := t.HasUnit(x.t.Context(), x.ada)
		require.False(x.t, yes)
		return nil, err
	},
	"HoldUntil": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.HoldUntil(x.t.Context(), &store.Visit{ID: x.held}, at(8, 0))
	},
	"Holds":      func(t *store.Tx, x *filled) (any, error) { return t.Holds(x.t.Context(), time.Time{}) },
	"GroupByID":  func(t *store.Tx, x *filled) (any, error) { return t.GroupByID(x.t.Context(), x.group) },
	"GroupsByID": func(t *store.Tx, x *filled) (any, error) { return t.GroupsByID(x.t.Context(), []string{x.group}) },
	"Heads":      func(t *store.Tx, x *filled) (any, error) { return t.Heads(x.t.Context(), x.client) },
	"InsertVisit": func(t *store.Tx, x *filled) (any, error) {
		v, blocks := x.salon.visit(x.client, at(15, 0), x.seat())
		return nil, t.InsertVisit(x.t.Context(), v, blocks)
	},
	"LoadShop": func(t *store.Tx, x *filled) (any, error) {
		return t.LoadShop(x.t.Context(), horizon(x.t, "UTC"), time.Now(), x.visit)
	},
	"LoadShopSeen": func(t *store.Tx, x *filled) (any, error) {
		shop, _, err := t.LoadShopSeen(x.t.Context(), horizon(x.t, "UTC"), time.Now(), x.visit)
		return shop, err
	},
	"AddScreening": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.AddScreening(x.t.Context(), store.Screening{Client: x.client, FormVersion: 1, Outcome: "ask", Made: soon, ConsentBy: "client", ConsentAt: soon, ConsentWording: 1}, nil)
		return nil, err
	},
	"Answers": func(t *store.Tx, x *filled) (any, error) {
		a, why, err := t.Answers(x.t.Context(), store.Screening{ID: x.screening, Client: x.client})
		return string(a) + string(why), err
	},
	"Decide": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.Decide(x.t.Context(), store.Screening{ID: x.screening, Client: x.client, Decision: "yes", DecidedAt: &soon}, nil)
	},
	"EraseScreening": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.EraseScreening(x.t.Context(), x.screening, soon, true)
	},
	"FormByVersion": func(t *store.Tx, x *filled) (any, error) { return t.FormByVersion(x.t.Context(), 2) },
	"NewestForm":    func(t *store.Tx, x *filled) (any, error) { return t.NewestForm(x.t.Context()) },
	"HealthMonths": func(t *store.Tx, x *filled) (any, error) {
		n, _, err := t.HealthMonths(x.t.Context())
		return n, err
	},
	"HealthReads": func(t *store.Tx, x *filled) (any, error) { return t.HealthReads(x.t.Context(), "", 100) },
	"KeepForm": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.KeepForm(x.t.Context(), store.Form{Version: 2, Standard: 1, Own: json.RawMessage(`[]`)})
		return nil, errors.Join(err, errUndo)
	},
	"LockScreening": func(t *store.Tx, x *filled) (any, error) { return t.LockScreening(x.t.Context(), x.screening) },
	"NoteHealthRead": func(t *store.Tx, x *filled) (any, error) {
		return nil, errors.Join(t.NoteHealthRead(x.t.Context(), store.HealthRead{Screening: x.screening, At: soon, What: "read", Role: "owner"}), errUndo)
	},
	"ScreeningByID": func(t *store.Tx, x *filled) (any, error) { return t.ScreeningByID(x.t.Context(), x.screening) },
	"SetHealthMonths": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.SetHealthMonths(x.t.Context(), 1, 3, date.NewAt(soon))
		return nil, errors.Join(err, errUndo)
	},
	"LatestScreening": func(t *store.Tx, x *filled) (any, error) { return t.LatestScreening(x.t.Context(), x.client) },
	"Screenings":      func(t *store.Tx, x *filled) (any, error) { return t.Screenings(x.t.Context(), x.client) },
	"LockForBooking": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.LockForBooking(x.t.Context(), []string{x.ada}, at(1, 0), at(2, 0))
	},
	"LockForPlans": func(t *store.Tx, x *filled) (any, error) {
		v, blocks := x.salon.visit(x.client, at(15, 0), x.seat())
		return t.LockForPlans(x.t.Context(), []store.Plan{{Visit: v, Blocks: blocks}}, time.Now(), store.ShopSeen{})
	},
	"LockGroup":   func(t *store.Tx, x *filled) (any, error) { return t.LockGroup(x.t.Context(), x.group) },
	"LockVisit":   func(t *store.Tx, x *filled) (any, error) { return t.LockVisit(x.t.Context(), x.visit, 0) },
	"AllPaces":    func(t *store.Tx, x *filled) (any, error) { return t.AllPaces(x.t.Context()) },
	"LastPaceFit": func(t *store.Tx, x *filled) (any, error) { return t.LastPaceFit(x.t.Context()) },
	"LockPaces":   func(t *store.Tx, x *filled) (any, error) { return nil, t.LockPaces(x.t.Context()) },
	"PaceRecords": func(t *store.Tx, x *filled) (any, error) {
		return t.PaceRecords(x.t.Context(), time.Time{}, soon.AddDate(9, 0, 0), "")
	},
	"PaceRecordsOf": func(t *store.Tx, x *filled) (any, error) {
		return t.PaceRecordsOf(x.t.Context(), time.Time{}, soon.AddDate(9, 0, 0), []string{x.visit})
	},
	"Paces":     func(t *store.Tx, x *filled) (any, error) { return t.Paces(x.t.Context(), x.ada) },
	"RefitPace": func(t *store.Tx, x *filled) (any, error) { return nil, t.RefitPace(x.t.Context()) },
	"ReplacePaces": func(t *store.Tx, x *filled) (any, error) {
		return nil, errors.Join(t.ReplacePaces(x.t.Context(), paceOf("nobody")), errUndo)
	},
	"SetPaceSettings": func(t *store.Tx, x *filled) (any, error) {
		return t.SetPaceSettings(x.t.Context(), 7, json.RawMessage(`{}`))
	},
	"OpeningHours": func(t *store.Tx, x *filled) (any, error) { return t.OpeningHours(x.t.Context()) },
	"PartsOf": func(t *store.Tx, x *filled) (any, error) {
		return t.PartsOf(x.t.Context(), x.ada, at(-24, 0), at(48, 0))
	},
	"PartsOfClient": func(t *store.Tx, x *filled) (any, error) {
		return t.PartsOfClient(x.t.Context(), x.client, at(-24, 0), at(48, 0))
	},
	"LastRetouch": func(t *store.Tx, x *filled) (any, error) {
		return t.LastRetouch(x.t.Context(), x.client, at(-24, 0), at(48, 0))
	},
	"Reminders":   func(t *store.Tx, x *filled) (any, error) { return t.Reminders(x.t.Context(), at(-24, 0), at(48, 0)) },
	"RemindersOf": func(t *store.Tx, x *filled) (any, error) { return t.RemindersOf(x.t.Context(), x.visit) },
	"ReplacePlan": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.ReplacePlan(x.t.Context(), &store.Visit{ID: x.visit, Start: at(1, 0), End: at(2, 0), Chair: x.chairs[0]}, nil)
	},
	"RetireService":   func(t *store.Tx, x *filled) (any, error) { return nil, t.RetireService(x.t.Context(), x.service.ID, 1) },
	"RevokeFeed":      func(t *store.Tx, x *filled) (any, error) { return nil, t.RevokeFeed(x.t.Context(), x.feed) },
	"RevokeToken":     func(t *store.Tx, x *filled) (any, error) { return nil, t.RevokeToken(x.t.Context(), x.token) },
	"SalonRow":        func(t *store.Tx, x *filled) (any, error) { return t.SalonRow(x.t.Context()) },
	"ServiceByID":     func(t *store.Tx, x *filled) (any, error) { return t.ServiceByID(x.t.Context(), x.service.ID) },
	"ServiceVersion":  func(t *store.Tx, x *filled) (any, error) { return t.ServiceVersion(x.t.Context(), x.service.ID, 1) },
	"ServiceVersions": func(t *store.Tx, x *filled) (any, error) { return t.ServiceVersions(x.t.Context(), x.service.ID) },
	"ServicesOf": func(t *store.Tx, x *filled) (any, error) {
		got, err := t.ServicesOf(x.t.Context(), []store.Visit{{Services: []store.VisitService{{Service: x.service.ID, Version: 1}}}})
		return slices.Collect(maps.Values(got)), err // the keys are what was asked for
	},
	"Services": func(t *store.Tx, x *filled) (any, error) { return t.Services(x.t.Context()) },
	"SetChairTime": func(t *store.Tx, x *filled) (any, error) {
		return t.SetChairTime(x.t.Context(), 7, json.RawMessage(`{}`))
	},
	"SetOpeningHours": func(t *store.Tx, x *filled) (any, error) {
		return nil, errors.Join(t.SetOpeningHours(x.t.Context(), nil), errUndo)
	},
	"SetRealTimes": func(t *store.Tx, x *filled) (any, error) {
		now := at(9, 0)
		return nil, t.SetRealTimes(x.t.Context(), store.Visit{ID: x.visit, Steps: []store.VisitStep{{RealStart: &now}}})
	},
	"SetStaffHours": func(t *store.Tx, x *filled) (any, error) { return nil, t.SetStaffHours(x.t.Context(), x.ada, nil) },
	"SetVisitGroup": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetVisitGroup(x.t.Context(), &store.Visit{ID: x.visit, Group: &x.group})
	},
	"SetVisitState": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetVisitState(x.t.Context(), &store.Visit{ID: x.visit, State: store.Cancelled})
	},
	"SpacedVisits": func(t *store.Tx, x *filled) (any, error) {
		return t.SpacedVisits(x.t.Context(), x.client, "", time.Time{}, time.Now())
	},
	"StaffByID":  func(t *store.Tx, x *filled) (any, error) { return t.StaffByID(x.t.Context(), x.ada) },
	"StaffHours": func(t *store.Tx, x *filled) (any, error) { return t.StaffHours(x.t.Context(), x.ada) },
	"StaffAndStations": func(t *store.Tx, x *filled) (any, error) {
		staff, stations, err := t.StaffAndStations(x.t.Context())
		return []any{staff, stations}, err
	},
	"StaffList":   func(t *store.Tx, x *filled) (any, error) { return t.StaffList(x.t.Context()) },
	"StationByID": func(t *store.Tx, x *filled) (any, error) { return t.StationByID(x.t.Context(), x.basin) },
	"Stations":    func(t *store.Tx, x *filled) (any, error) { return t.Stations(x.t.Context()) },
	"SyncClientParts": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SyncClientParts(x.t.Context(), x.visit, x.client, nil)
	},
	"SyncParts": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SyncParts(x.t.Context(), x.visit, x.client, nil)
	},
	"SyncPartsOf": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SyncPartsOf(x.t.Context(), []store.VisitParts{{Visit: x.visit, Client: x.client}})
	},
	"Tokens": func(t *store.Tx, x *filled) (any, error) { return t.Tokens(x.t.Context()) },
	"TouchFeeds": func(t *store.Tx, x *filled) (any, error) {
		return nil, errors.Join(t.TouchFeeds(x.t.Context(), x.ada), errUndo)
	},
	"UpdateClient": func(t *store.Tx, x *filled) (any, error) {
		return t.UpdateClient(x.t.Context(), store.Client{ID: x.client, GivenName: "A", ContactBy: "none", Version: 1})
	},
	"SetBookingRules": func(t *store.Tx, x *filled) (any, error) {
		return t.SetBookingRules(x.t.Context(), 7, json.RawMessage(`{}`))
	},
	"UpdateSalon": func(t *store.Tx, x *filled) (any, error) {
		n := x.row
		n.Version = 99
		return t.UpdateSalon(x.t.Context(), n)
	},
	"UpdateService": func(t *store.Tx, x *filled) (any, error) { return t.UpdateService(x.t.Context(), x.service.Service, 1) },
	"UpdateStaff": func(t *store.Tx, x *filled) (any, error) {
		return t.UpdateStaff(x.t.Context(), store.Staff{Unit: store.Unit{ID: x.ada, Name: "A", Version: 1}, Initials: "A"})
	},
	"UpdateStation": func(t *store.Tx, x *filled) (any, error) {
		return t.UpdateStation(x.t.Context(), store.Unit{ID: x.basin, Name: "A", Version: 1})
	},
	"VisitByID": func(t *store.Tx, x *filled) (any, error) { return t.VisitByID(x.t.Context(), x.visit) },
	"VisitsWithoutSteps": func(t *store.Tx, x *filled) (any, error) {
		return t.VisitsWithoutSteps(x.t.Context(), at(-24, 0), at(48, 0))
	},
	"VisitsBetween": func(t *store.Tx, x *filled) (any, error) {
		return t.VisitsBetween(x.t.Context(), at(-24, 0), at(48, 0))
	},
	"VisitsByID":     func(t *store.Tx, x *filled) (any, error) { return t.VisitsByID(x.t.Context(), []string{x.visit}) },
	"VisitsOfClient": func(t *store.Tx, x *filled) (any, error) { return t.VisitsOfClient(x.t.Context(), x.client) },
	"VisitsOfGroup":  func(t *store.Tx, x *filled) (any, error) { return t.VisitsOfGroup(x.t.Context(), x.group) },
	"VisitsUsing": func(t *store.Tx, x *filled) (any, error) {
		return t.VisitsUsing(x.t.Context(), x.ada, at(-24, 0), at(48, 0))
	},
	"WithdrawOlderRetouch": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.WithdrawOlderRetouch(x.t.Context(), x.client, "")
	},
	"WithdrawReminders": func(t *store.Tx, x *filled) (any, error) { return nil, t.WithdrawReminders(x.t.Context(), x.visit) },
	"WritePlans": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.WritePlans(x.t.Context(), nil, []store.Plan{{Visit: &store.Visit{ID: x.visit, Start: at(1, 0), End: at(2, 0)}}})
	},
}

// errUndo undoes what a method rightly does in its own salon.
var errUndo = errors.New("undo")

// ownOnly name methods that take nothing that could belong to another salon.
var ownOnly = []string{"Ahead", "AddClient", "AddClosure", "AddOpeningDay", "AddConsentWording", "AddGroup", "AddService", "AddStaff", "AddStation", "AddTextGateway", "DeleteTextGateway", "LapseHeld", "LockRota", "Moment", "RotateTextGateway", "Salon", "Savepoint", "Unchanged", "UpdateTextGateway", "VisitNews",
	"Exec"} // of these tests

func TestNoMethodReachesIntoAnotherSalon(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	mine, theirs := s.filled(), s.second().filled()
	before, others := mine.contents(), theirs.contents()
	ids := theirs.ids()
	kind := reflect.TypeFor[*store.Tx]()
	for i := range kind.NumMethod() {
		name := kind.Method(i).Name
		method, ok := crossing[name]
		require.NotEqual(t, slices.Contains(ownOnly, name), ok, "say what %s does with ids of another salon", name)
		if !ok {
			continue
		}
		var got any
		err := mine.try(func(tx *store.Tx) (err error) {
			got, err = method(tx, theirs)
			return err
		})
		require.Equal(t, others, theirs.contents(), name)
		require.Equal(t, before, mine.contents(), name)
		if _, invalid := errors.AsType[*scheduling.InvalidError](err); err != nil && !invalid && !errors.Is(err, errUndo) {
			require.True(t, errors.Is(err, scheduling.ErrNotFound) || (name == "UpdateSalon" || name == "SetCareRules" || name == "SetBookingRules" || name == "SetChairTime" || name == "SetPaceSettings" || name == "SetMessageRules") && errors.Is(err, scheduling.ErrStale), "%s: %v", name, err)
		}
		if err == nil || errors.Is(err, errUndo) {
			for _, id := range ids {
				require.NotContains(t, fmt.Sprintf("%+v", got), id, name)
			}
		}
	}
	// The other salon's own eyes see all of it, so that the table above means something.
	theirs.tx(func(tx *store.Tx) error {
		for _, name := range []string{"ClientByID", "VisitByID", "EstimateByID", "StaffByID", "StationByID", "ServiceByID", "RemindersOf", "Heads", "PartsOf", "CardOf", "Cards",
			"TestNotes", "TestNoteByID", "Consents", "MinorOf", "NeedOverrides"} {
			got, err := crossing[name](tx, theirs)
			require.NoError(t, err, name)
			require.True(t, slices.ContainsFunc(ids, func(id string) bool { return strings.Contains(fmt.Sprintf("%+v", got), id) }), name)
		}
		return nil
	})
}

func TestASalonGoesWithEverythingAndLeavesTheOther(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	mine, theirs := s.filled(), s.second().filled()
	others := theirs.contents()
	mine.tx(func(tx *store.Tx) error { return tx.DeleteSalon(t.Context()) })
	for table, list := range mine.contents() {
		require.Empty(t, list, table)
	}
	require.Equal(t, others, theirs.contents())
	require.False(t, mine.dumpHolds([]byte(mine.client)), "no column of any table names the client")
	require.Equal(t, 1, value[int](s, `SELECT count(*) FROM river_job WHERE state = 'scheduled' AND kind = 'reminder'`))
	require.ErrorIs(t, mine.try(func(tx *store.Tx) error { _, err := tx.SalonRow(t.Context()); return err }), scheduling.ErrNotFound)
}

func TestOfTwoWhoChangeTheSameRowTheSecondIsTold(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	id := s.client("Guest")
	for name, change := range map[string]func(tx *store.Tx, version int64) (int64, error){
		"client": func(tx *store.Tx, version int64) (int64, error) {
			c, err := tx.UpdateClient(ctx, store.Client{ID: id, GivenName: "New", ContactBy: "mail", Version: version})
			return c.Version, err
		},
		"salon": func(tx *store.Tx, version int64) (int64, error) {
			n := s.row
			n.Name, n.Version = "New", version
			n, err := tx.UpdateSalon(ctx, n)
			return n.Version, err
		},
		"person": func(tx *store.Tx, version int64) (int64, error) {
			p, err := tx.UpdateStaff(ctx, store.Staff{Unit: store.Unit{ID: s.ada, Name: "New", Active: true, Version: version}, Initials: "N", MayLead: true})
			return p.Version, err
		},
		"station": func(tx *store.Tx, version int64) (int64, error) {
			u, err := tx.UpdateStation(ctx, store.Unit{ID: s.basin, Name: "New", Active: true, Version: version})
			return u.Version, err
		},
		"service": func(tx *store.Tx, version int64) (int64, error) {
			x, err := tx.UpdateService(ctx, s.service.Service, version)
			return x.Row, err
		},
	} {
		try := func(version int64) (now int64, err error) {
			err = s.try(func(tx *store.Tx) (err error) { now, err = change(tx, version); return err })
			return now, err
		}
		now, err := try(1)
		require.NoError(t, err, name)
		require.Equal(t, int64(2), now, name)
		before := s.contents()
		for _, wrong := range []int64{1, 3, 0, -1} {
			_, err = try(wrong)
			require.ErrorIs(t, err, scheduling.ErrStale, name)
		}
		require.Equal(t, before, s.contents(), name)
	}
}

func TestAClientWithAVisitCannotBeDeleted(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	guest, other := s.client("Guest"), s.client("Other")
	s.booked(guest, at(9, 0), s.seat())
	remove := func(id string, version int64) error {
		return s.try(func(tx *store.Tx) error { return tx.DeleteClient(t.Context(), id, version) })
	}
	var bad *scheduling.InvalidError
	require.ErrorAs(t, remove(guest, 1), &bad)
	require.ErrorIs(t, remove(other, 2), scheduling.ErrStale)
	require.NoError(t, remove(other, 1))
	require.ErrorIs(t, remove(other, 1), scheduling.ErrNotFound)
}

func TestClientsAreFoundByTheBeginningOfANameAndPageByPage(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	var all []string
	for _, name := range []string{"Ågot", "ågnes", "Bo", "100%", "_low"} {
		all = append(all, s.client(name))
	}
	find := func(prefix, after string, limit int) (ids []string) {
		s.tx(func(tx *store.Tx) error {
			list, err := tx.Clients(t.Context(), prefix, after, limit)
			for _, c := range list {
				ids = append(ids, c.ID)
			}
			return err
		})
		return ids
	}
	require.Equal(t, all, find("", "", 10))
	require.Equal(t, all[:2], find("", "", 2))
	require.Equal(t, all[2:4], find("", all[1], 2))
	require.Empty(t, find("", all[4], 2))
	require.Equal(t, all[2:3], find("b", "", 10))
	require.Equal(t, all[3:4], find("100%", "", 10))
	require.Equal(t, all[4:], find("_", "", 10), "signs of patterns are letters like others")
	require.Empty(t, find("x", "", 10))
}

func TestASalonIsKeptAsItWasGiven(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	want := store.Salon{Name: "Another", Zone: "America/New_York", Currency: "USD", LengthUnit: "in", HeatUnit: "F", Address: "1 Quay",
		Phone: "+12025550100", Mail: "desk@another.example", Emergency: "911", ChairTime: json.RawMessage(`{"a": 1}`),
		Booking: json.RawMessage(`{}`), Pace: json.RawMessage(`{}`), Care: json.RawMessage(`{}`), Messages: json.RawMessage(`{"language": "fr"}`)}
	got, err := s.store.AddSalon(t.Context(), want)
	require.NoError(t, err)
	want.ID, want.Key, want.Version = got.ID, got.Key, 1
	require.Equal(t, want, got)
	loc, err := got.Location()
	require.NoError(t, err)
	require.Equal(t, want.Zone, loc.String())

	got.ChairTime = nil
	var changed store.Salon
	require.NoError(t, s.store.InTx(t.Context(), got.ID, func(tx *store.Tx) (err error) {
		changed, err = tx.UpdateSalon(t.Context(), got)
		return err
	}))
	require.True(t, bytes.Equal([]byte(`{}`), changed.ChairTime), "no constants differ from the default")
	plain, err := s.store.AddSalon(t.Context(), store.Salon{Name: "Plain", Zone: "UTC"})
	require.NoError(t, err)
	require.Equal(t, []string{"EUR", "cm", "C", "", "{}"}, []string{plain.Currency, plain.LengthUnit, plain.HeatUnit, plain.Emergency, string(plain.ChairTime)})
}
