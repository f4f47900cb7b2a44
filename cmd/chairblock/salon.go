package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"chairblock/api"
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
	Add             SalonAddCmd        `cmd:"" help:"Make a salon and print the token of its owner and the link with which she signs in, once."`
	ResetSecondStep ResetSecondStepCmd `cmd:"" help:"Print a link for somebody who has lost her second step: it is taken away when she chooses a new password there."`
	SignInLink      SignInLinkCmd      `cmd:"" help:"Print a new link for somebody who has lost her password, or for owners who have chosen none."`
}

// SalonAddCmd makes a salon with the standard services.
type SalonAddCmd struct {
	Database
	Name  string `required:"" help:"Name that clients know."`
	Zone  string `required:"" help:"Time zone by its IANA name, such as Europe/Lisbon. It cannot be changed later."`
	Mail  string `help:"Address that messages come from."`
	Phone string `help:"Number for clients, with country code."`
	Owner string `name:"owner-mail" help:"Mail address with which the owner signs in. Left out: she names it when she chooses her password."`
	URL   string `name:"url" env:"CHAIRBLOCK_URL" default:"http://127.0.0.1:8080" help:"Address under which people reach the service, for the link."`
}

// Run makes the salon.
func (c *SalonAddCmd) Run(out io.Writer) error {
	ctx, stop := untilTold()
	defer stop()
	row, owner, err := c.read()
	if err != nil {
		return err
	}
	st, end, err := c.migrated(ctx)
	if err != nil {
		return err
	}
	defer end()
	n, err := st.AddSalon(ctx, row)
	if err != nil {
		return err
	}
	var token, link string
	err = st.InTx(ctx, n.ID, func(t *store.Tx) error {
		for _, x := range scheduling.StandardServices() {
			if _, err := t.AddService(ctx, x); err != nil {
				return err
			}
		}
		if _, token, err = t.AddToken(ctx, store.Owner, "", "owner", nil); err != nil {
			return err
		}
		link, err = firstOwner(ctx, t, owner)
		return err
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "salon   %s\ntoken   %s\nsign in %s\n\nKeep the token: it is shown only now and may do everything.\n"+
		"Open the address within 7 days, while the service runs: the owner chooses a password there, and sets the salon up.\n", n.Name, token, api.SessionURL(address(c.URL), link))
	return nil
}

// read is the salon and its owner's mail address as they are stored, or all that is
// wrong with them.
func (c *SalonAddCmd) read() (n store.Salon, owner string, err error) {
	var f scheduling.Faults
	n = store.Salon{Name: c.Name, Zone: c.Zone, Mail: c.Mail, Phone: c.Phone}
	if _, known := scheduling.ZoneByName(c.Zone); !known {
		f.Addf("--zone", "an IANA name such as Europe/Lisbon", "is %q, which is no time zone", c.Zone)
	}
	api.CleanSalon(&f, "--", &n)
	owner, err = api.Login("--owner-mail", c.Owner)
	if err := f.Join("", err); err != nil {
		return n, "", err
	}
	return n, owner, f.Err()
}

// migrated opens the database with the newest schema.
func (d Database) migrated(ctx context.Context) (*store.Store, func(), error) {
	url, stop, err := d.attach(ctx, func(string, ...any) {})
	if err != nil {
		return nil, nil, err
	}
	st, err := func() (*store.Store, error) {
		if err := store.Migrate(ctx, url); err != nil {
			return nil, err
		}
		return store.Open(ctx, url, 2)
	}()
	if err != nil {
		stop()
		return nil, nil, err
	}
	return st, func() {
		st.Close()
		stop()
	}, nil
}

// firstOwner adds the account of a salon's first owner and returns the secret of the
// link with which she chooses a password. login may be empty.
func firstOwner(ctx context.Context, t *store.Tx, login string) (string, error) {
	a, err := t.AddAccount(ctx, store.Account{Login: login, Name: "Owner", Roles: []store.Role{store.Owner}})
	if err != nil {
		return "", err
	}
	return t.AddPasswordLink(ctx, a.ID, time.Now().Add(api.PasswordLinkLife))
}

// address is where people reach the service, without a slash at the end.
func address(url string) string { return strings.TrimSuffix(url, "/") }
