package store_test

import (
	"encoding/json"
	"maps"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// account notes prices, products and money of the visit of x.
func (x *filled) account(t *store.Tx) {
	ctx := x.t.Context()
	p, err := t.AddProduct(ctx, store.Product{Name: "Solution", Kind: "solution", Strength: "of " + x.row.ID})
	require.NoError(x.t, err)
	require.NoError(x.t, t.SetVisitProducts(ctx, x.visit, []store.VisitProduct{{Product: p.ID, ML: 100}}))
	_, err = t.AddMovement(ctx, store.Movement{Product: p.ID, Kind: store.StockReceived, Change: 50}, time.Now())
	require.NoError(x.t, err)
	doc := json.RawMessage(`{"note": "quote of ` + x.row.ID + `"}`)
	q, err := t.AddQuote(ctx, store.Quote{Client: &x.client, Request: doc, Answer: doc, ValidUntil: at(1, 0), Created: at(0, 0)})
	require.NoError(x.t, err)
	require.NoError(x.t, t.SetVisitQuote(ctx, x.visit, q.ID))
	e, err := t.AddMoney(ctx, store.MoneyEntry{Visit: x.visit, Kind: store.DepositAsked, Amount: 100, Note: "of " + x.row.ID}, time.Now())
	require.NoError(x.t, err)
	x.product, x.quote, x.entry = p.ID, q.ID, e.ID
	_, err = t.AddTextGateway(ctx, store.TextGateway{Address: "https://texts.example/" + x.row.ID, Enabled: true}, "whsec_"+x.row.ID)
	require.NoError(x.t, err)
}

// accounts are the methods about prices, products and money.
var accounts = map[string]func(t *store.Tx, x *filled) (any, error){
	"WorkOf": func(t *store.Tx, x *filled) (any, error) {
		return t.WorkOf(x.t.Context(), x.ada, at(-24, 0), at(48, 0))
	},
	"AddMoney": func(t *store.Tx, x *filled) (any, error) {
		return t.AddMoney(x.t.Context(), store.MoneyEntry{Visit: x.visit, Kind: store.Received, Amount: 1, How: "cash"}, time.Now())
	},
	"AddMovement": func(t *store.Tx, x *filled) (any, error) {
		return t.AddMovement(x.t.Context(), store.Movement{Product: x.product, Kind: store.StockReceived, Change: 1}, time.Now())
	},
	"AddQuote": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.AddQuote(x.t.Context(), store.Quote{Client: &x.client, Request: json.RawMessage(`1`), Answer: json.RawMessage(`1`)})
		return nil, err
	},
	"LockReminder": func(t *store.Tx, x *filled) (any, error) {
		return t.LockReminder(x.t.Context(), value[string](x.salon, `SELECT min(reminder_id) FROM reminder WHERE salon_id = $1`, x.row.ID))
	},
	"Messages": func(t *store.Tx, x *filled) (any, error) {
		return t.Messages(x.t.Context(), store.MessageFilter{State: store.Waiting, Limit: 100})
	},
	"SendAnew": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SendAnew(x.t.Context(), x.client, "no such reason")
	},
	"SendAgain": func(t *store.Tx, x *filled) (any, error) {
		id := value[string](x.salon, `SELECT min(reminder_id) FROM reminder WHERE salon_id = $1`, x.row.ID)
		_, err := t.SendAgain(x.t.Context(), store.Reminder{ID: id})
		return nil, err
	},
	"SwitchOffTextGateway": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SwitchOffTextGateway(x.t.Context(), "https://texts.example/"+x.row.ID, "gone")
	},
	"TextGateway":        func(t *store.Tx, x *filled) (any, error) { return t.TextGateway(x.t.Context()) },
	"TextGatewaySecrets": func(t *store.Tx, x *filled) (any, error) { return t.TextGatewaySecrets(x.t.Context(), at(1, 0)) },
	"ClientsAlike":       func(t *store.Tx, x *filled) (any, error) { return t.ClientsAlike(x.t.Context(), x.client, 20) },
	"RinsesOf":           func(t *store.Tx, x *filled) (any, error) { return t.RinsesOf(x.t.Context(), x.visit) },
	"RinsesUnderWay":     func(t *store.Tx, x *filled) (any, error) { return t.RinsesUnderWay(x.t.Context()) },
	"VisitLines":         func(t *store.Tx, x *filled) (any, error) { return t.VisitLines(x.t.Context(), x.client, 10) },
	"MoneyOfVisits":      func(t *store.Tx, x *filled) (any, error) { return t.MoneyOfVisits(x.t.Context(), []string{x.visit}) },
	"LayAside": func(t *store.Tx, x *filled) (any, error) {
		id := value[string](x.salon, `SELECT min(reminder_id) FROM reminder WHERE salon_id = $1`, x.row.ID)
		_, err := t.LayAside(x.t.Context(), store.Reminder{ID: id, State: store.Waiting}, "seen to")
		return nil, err
	},
	"ClientsByID":  func(t *store.Tx, x *filled) (any, error) { return t.ClientsByID(x.t.Context(), x.client) },
	"DepositOf":    func(t *store.Tx, x *filled) (any, error) { return t.DepositOf(x.t.Context(), x.visit) },
	"MinorsOf":     func(t *store.Tx, x *filled) (any, error) { return t.MinorsOf(x.t.Context(), x.client) },
	"MissedLast":   func(t *store.Tx, x *filled) (any, error) { return t.MissedLast(x.t.Context(), x.client) },
	"MoneyOf":      func(t *store.Tx, x *filled) (any, error) { return t.MoneyOf(x.t.Context(), x.visit) },
	"Movements":    func(t *store.Tx, x *filled) (any, error) { return t.Movements(x.t.Context(), x.product, "", 10) },
	"ProductByID":  func(t *store.Tx, x *filled) (any, error) { return t.ProductByID(x.t.Context(), x.product) },
	"ProductsByID": func(t *store.Tx, x *filled) (any, error) { return t.ProductsByID(x.t.Context(), x.product) },
	"ProductsTaken": func(t *store.Tx, x *filled) (any, error) {
		return t.ProductsTaken(x.t.Context(), x.service.ID, x.service.Version)
	},
	"Products":     func(t *store.Tx, x *filled) (any, error) { return t.Products(x.t.Context()) },
	"QuoteByID":    func(t *store.Tx, x *filled) (any, error) { return t.QuoteByID(x.t.Context(), x.quote) },
	"QuoteOfVisit": func(t *store.Tx, x *filled) (any, error) { return t.QuoteOfVisit(x.t.Context(), x.visit) },
	"QuotesOf":     func(t *store.Tx, x *filled) (any, error) { return t.QuotesOf(x.t.Context(), x.client) },
	"RetireProduct": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.RetireProduct(x.t.Context(), x.product, 1)
	},
	"FirmPrices": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.FirmPrices(x.t.Context(), &store.Visit{ID: x.visit})
	},
	"SetPrices": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetPrices(x.t.Context(), &store.Visit{ID: x.visit, Services: make([]store.VisitService, 1)}, []int64{7})
	},
	"SetPricing": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetPricing(x.t.Context(), x.service.ID, 1, json.RawMessage(`{"by": "fixed"}`), nil)
	},
	"SetUsed": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetUsed(x.t.Context(), x.visit, map[string]int{x.product: 7}, time.Now(), "")
	},
	"SetVisitProducts": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetVisitProducts(x.t.Context(), x.visit, []store.VisitProduct{{Product: x.product, ML: 7}})
	},
	"SetVisitQuote": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetVisitQuote(x.t.Context(), x.visit, x.quote)
	},
	"ShortFor":  func(t *store.Tx, x *filled) (any, error) { return t.ShortFor(x.t.Context(), x.visit) },
	"StockList": func(t *store.Tx, x *filled) (any, error) { return t.StockList(x.t.Context()) },
	"TouchVisit": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.TouchVisit(x.t.Context(), &store.Visit{ID: x.visit})
	},
	"UpdateProduct": func(t *store.Tx, x *filled) (any, error) {
		return t.UpdateProduct(x.t.Context(), store.Product{ID: x.product, Name: "A", Version: 1})
	},
	"VisitProducts": func(t *store.Tx, x *filled) (any, error) { return t.VisitProducts(x.t.Context(), x.visit) },
}

func init() {
	maps.Copy(crossing, accounts)
	ownOnly = append(ownOnly, "AddProduct") // takes nothing that could belong to another salon
}
