package main

import (
	"fmt"
	"io"
	"time"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/store"
)

// ResetSecondStepCmd makes a link for somebody who cannot take her second step.
type ResetSecondStepCmd struct {
	Database
	Mail string `required:"" help:"Mail address with which the person signs in."`
	URL  string `name:"url" env:"CHAIRBLOCK_URL" default:"http://127.0.0.1:8080" help:"Address under which people reach the service, for the link."`
}

// Run prints a link for each account of the address that has a second step.
func (c *ResetSecondStepCmd) Run(out io.Writer) error {
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
	found, err := st.CredentialsOf(ctx, login)
	if err != nil {
		return err
	}
	made := 0
	for _, k := range found {
		if !k.Factor {
			continue
		}
		var link string
		err := st.InTx(ctx, k.Salon, func(t *store.Tx) (err error) {
			link, err = t.AddWayBackLink(ctx, k.Account, time.Now().Add(api.PasswordLinkLife))
			return err
		})
		if err != nil {
			return err
		}
		made++
		fmt.Fprintf(out, "%s: %s\n", k.SalonName, api.SessionURL(address(c.URL), link))
	}
	if made == 0 {
		return &scheduling.InvalidError{Field: "--mail", Problem: "belongs to nobody with a second step", Want: "the address of an account that has one"}
	}
	fmt.Fprintln(out, "\nWhoever opens the address chooses a new password, and her second step is taken away by it.\nBe sure that it is she: hand it over yourself. It works once, within 7 days; until then nothing has changed.")
	return nil
}
