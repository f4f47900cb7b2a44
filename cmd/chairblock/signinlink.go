package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/store"
)

// SignInLinkCmd makes links with which people choose a password.
type SignInLinkCmd struct {
	Database
	Mail string `help:"Mail address with which somebody signs in. Left out: owners who have chosen no password yet, and salons without an owner who signs in."`
	URL  string `name:"url" env:"CHAIRBLOCK_URL" default:"http://127.0.0.1:8080" help:"Address under which people reach the service, for the link."`
}

// Run prints a link for each account, beside the name of its salon.
func (c *SignInLinkCmd) Run(out io.Writer) error {
	ctx, stop := untilTold()
	defer stop()
	login, err := api.Login("--mail", c.Mail)
	if err != nil {
		return err
	}
	st, end, err := c.migrated(ctx)
	if err != nil {
		return err
	}
	defer end()
	whose, err := c.whose(ctx, st, login)
	if err != nil {
		return err
	}
	if len(whose) == 0 {
		fmt.Fprintln(out, "every owner has chosen a password: name the mail address of whoever has lost hers with --mail")
		return nil
	}
	for _, w := range whose {
		var link string
		err := st.InTx(ctx, w.Salon, func(t *store.Tx) (err error) {
			if w.Account == "" {
				link, err = firstOwner(ctx, t, "")
				return err
			}
			link, err = t.AddPasswordLink(ctx, w.Account, time.Now().Add(api.PasswordLinkLife))
			return err
		})
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s: %s\n", w.SalonName, api.SessionURL(address(c.URL), link))
	}
	fmt.Fprintln(out, "\nEach address works once, within 7 days, and ends those made before.")
	return nil
}

// whose are the accounts that get a link.
func (c *SignInLinkCmd) whose(ctx context.Context, st *store.Store, login string) ([]store.OwnerAccount, error) {
	if login == "" {
		return st.OwnersWithoutPassword(ctx)
	}
	found, err := st.CredentialsOf(ctx, login)
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, &scheduling.InvalidError{Field: "--mail", Problem: "belongs to nobody who may sign in", Want: "the address of an account"}
	}
	var out []store.OwnerAccount
	for _, k := range found {
		out = append(out, store.OwnerAccount{Salon: k.Salon, SalonName: k.SalonName, Account: k.Account})
	}
	return out, nil
}
