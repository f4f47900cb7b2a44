package main

import (
	"fmt"
	"io"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// MigrateCmd brings the database to the newest schema.
type MigrateCmd struct{ Database }

// Run migrates and ends.
func (c *MigrateCmd) Run(out io.Writer) error {
	ctx, stop := untilTold()
	defer stop()
	url, end, err := c.open(ctx, func(f string, a ...any) { fmt.Fprintf(out, f+"\n", a...) })
	if err != nil {
		return err
	}
	defer end()
	if err := store.Migrate(ctx, url); err != nil {
		return err
	}
	fmt.Fprintln(out, "the database has the newest schema")
	return nil
}

// SalonCmd manages salons.
type SalonCmd struct {
	Add SalonAddCmd `cmd:"" help:"Make a salon and print the token of its owner, once."`
}

// SalonAddCmd makes a salon with the standard services.
type SalonAddCmd struct {
	Database
	Name  string `required:"" help:"Name that clients know."`
	Zone  string `required:"" help:"Time zone by its IANA name, such as Europe/Lisbon. It cannot be changed later."`
	Mail  string `help:"Address that messages come from."`
	Phone string `help:"Number for clients, with country code."`
}

// Run makes the salon.
func (c *SalonAddCmd) Run(out io.Writer) error {
	ctx, stop := untilTold()
	defer stop()
	if _, err := time.LoadLocation(c.Zone); err != nil || c.Zone == "" || c.Zone == "Local" {
		return &scheduling.InvalidError{Field: "--zone", Problem: fmt.Sprintf("is %q, which is no time zone", c.Zone), Want: "an IANA name such as Europe/Lisbon"}
	}
	if n := len([]rune(c.Name)); n < 1 || n > 120 {
		return &scheduling.InvalidError{Field: "--name", Problem: fmt.Sprintf("has %d characters", n), Want: "1 to 120"}
	}
	url, end, err := c.open(ctx, func(string, ...any) {})
	if err != nil {
		return err
	}
	defer end()
	if err := store.Migrate(ctx, url); err != nil {
		return err
	}
	st, err := store.Open(ctx, url, 2)
	if err != nil {
		return err
	}
	defer st.Close()
	n, err := st.AddSalon(ctx, store.Salon{Name: c.Name, Zone: c.Zone, Mail: c.Mail, Phone: c.Phone})
	if err != nil {
		return err
	}
	var token string
	err = st.InTx(ctx, n.ID, func(t *store.Tx) error {
		for _, x := range scheduling.StandardServices() {
			if _, err := t.AddService(ctx, x); err != nil {
				return err
			}
		}
		_, token, err = t.AddToken(ctx, store.Owner, "", "owner", nil)
		return err
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "salon   %s\ntoken   %s\n\nKeep the token: it is shown only now and may do everything.\nNext: hours, staff and stations, by PUT /v1/hours, POST /v1/staff and POST /v1/stations.\n", n.Name, token)
	return nil
}
