package store_test

import (
	"maps"
	"time"

	"chairblock/store"
)

// enrolled adds an account with all that belongs to it to the salon of x.
func (x *filled) enrolled() {
	x.t.Helper()
	ctx := x.t.Context()
	a := x.enrol(store.Account{Staff: x.ada, Login: "ada@example.org", Name: "of " + x.row.ID, Roles: []store.Role{store.Owner}})
	x.accountID, x.browserID = a.ID, x.browser("of "+x.row.ID, store.BrowserSession{Account: a.ID, Kind: store.SharedScreen})
	x.tx(func(t *store.Tx) error {
		if err := t.SetPassword(ctx, a.ID, "", "hash of "+x.row.ID, x.browserID); err != nil {
			return err
		}
		if err := t.SetCode(ctx, a.ID, "hash of "+x.row.ID, ""); err != nil {
			return err
		}
		if err := t.SetPerson(ctx, x.browserID, a.ID, time.Now().Add(time.Hour)); err != nil {
			return err
		}
		if err := t.GuardCodes(ctx, a.ID, time.Now(), func(w *store.WrongCodes) { w.Misses++ }); err != nil {
			return err
		}
		if err := t.BeginFactor(ctx, a.ID, []byte("secret of "+x.row.ID), time.Now()); err != nil {
			return err
		}
		if err := t.UseFactor(ctx, a.ID, time.Now(), func(u *store.FactorUse) error { u.LastStep = 7; return nil }); err != nil {
			return err
		}
		if err := t.SetRecoveryCodes(ctx, a.ID, []string{"code of " + x.row.ID}); err != nil {
			return err
		}
		var err error
		x.linkSecret, err = t.AddPasswordLink(ctx, a.ID, time.Now().Add(time.Hour))
		return err
	})
}

// entering are the methods about accounts and browsers.
var entering = map[string]func(t *store.Tx, x *filled) (any, error){
	"AccountByID": func(t *store.Tx, x *filled) (any, error) { return t.AccountByID(x.t.Context(), x.accountID) },
	"Accounts":    func(t *store.Tx, x *filled) (any, error) { return t.Accounts(x.t.Context()) },
	"AddAccount": func(t *store.Tx, x *filled) (any, error) {
		return t.AddAccount(x.t.Context(), store.Account{Staff: x.ada, Roles: []store.Role{store.LeadRole}})
	},
	"AddBrowserSession": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.AddBrowserSession(x.t.Context(), store.BrowserSession{Token: "another", Account: x.accountID, Kind: store.OwnMachine})
		return nil, err
	},
	"AddPasswordLink": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.AddPasswordLink(x.t.Context(), x.accountID, time.Now().Add(time.Hour))
		return nil, err
	},
	"Browsers":   func(t *store.Tx, x *filled) (any, error) { return t.Browsers(x.t.Context(), time.Now()) },
	"BrowsersOf": func(t *store.Tx, x *filled) (any, error) { return t.BrowsersOf(x.t.Context(), x.accountID, time.Now()) },
	"EndSession": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.EndSession(x.t.Context(), x.accountID, x.browserID)
	},
	"EndSessions": func(t *store.Tx, x *filled) (any, error) { return nil, t.EndSessions(x.t.Context(), x.accountID, "") },
	"ForgetCodes": func(t *store.Tx, x *filled) (any, error) { return nil, t.ForgetCodes(x.t.Context(), x.accountID) },
	"GuardCodes": func(t *store.Tx, x *filled) (any, error) {
		var was store.WrongCodes
		err := t.GuardCodes(x.t.Context(), x.accountID, time.Now(), func(w *store.WrongCodes) { was = *w })
		return was.Misses, err
	},
	"FactorOf": func(t *store.Tx, x *filled) (any, error) { return t.FactorOf(x.t.Context(), x.accountID) },
	"BeginFactor": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.BeginFactor(x.t.Context(), x.accountID, []byte("another"), time.Now())
	},
	"UseFactor": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.UseFactor(x.t.Context(), x.accountID, time.Now(), func(u *store.FactorUse) error { u.LastStep++; return nil })
	},
	"ConfirmFactor": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.ConfirmFactor(x.t.Context(), x.accountID, time.Now())
	},
	"EndFactor": func(t *store.Tx, x *filled) (any, error) { return nil, t.EndFactor(x.t.Context(), x.accountID) },
	"SetRecoveryCodes": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetRecoveryCodes(x.t.Context(), x.accountID, []string{"another"})
	},
	"UseRecoveryCode": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.UseRecoveryCode(x.t.Context(), x.accountID, "code of "+x.row.ID, time.Now())
	},
	"AddNotice": func(t *store.Tx, x *filled) (any, error) { return nil, t.AddNotice(x.t.Context(), x.accountID, "news") },
	"AddAccountToken": func(t *store.Tx, x *filled) (any, error) {
		_, _, err := t.AddAccountToken(x.t.Context(), x.accountID, "", time.Hour)
		return nil, err
	},
	"AddWayBackLink": func(t *store.Tx, x *filled) (any, error) {
		_, err := t.AddWayBackLink(x.t.Context(), x.accountID, time.Now().Add(time.Hour))
		return nil, err
	},
	"MoveSession": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.MoveSession(x.t.Context(), x.browserID, "elsewhere")
	},
	"LockAccounts": func(t *store.Tx, x *filled) (any, error) { return nil, t.LockAccounts(x.t.Context()) },
	"SecretsOf":    func(t *store.Tx, x *filled) (any, error) { return t.SecretsOf(x.t.Context(), x.accountID) },
	"SetCode": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetCode(x.t.Context(), x.accountID, "another", "")
	},
	"SetPassword": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetPassword(x.t.Context(), x.accountID, "", "another", "")
	},
	"SetPerson": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetPerson(x.t.Context(), x.browserID, x.accountID, time.Now())
	},
	"SetProven": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.SetProven(x.t.Context(), x.browserID, x.accountID, time.Now())
	},
	"ShareScreen": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.ShareScreen(x.t.Context(), x.browserID, time.Now(), time.Hour)
	},
	"UpdateAccount": func(t *store.Tx, x *filled) (any, error) {
		return t.UpdateAccount(x.t.Context(), store.Account{ID: x.accountID, Version: 3, Name: "A", Roles: []store.Role{store.Desk}})
	},
	"UseLink": func(t *store.Tx, x *filled) (any, error) {
		return nil, t.UseLink(x.t.Context(), x.linkSecret, time.Now())
	},
}

func init() {
	maps.Copy(crossing, entering)
	ownOnly = append(ownOnly, "AccessRules", "SetAccessRules")
}
