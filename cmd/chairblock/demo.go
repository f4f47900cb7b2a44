package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"text/template"
	"time"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/store"
	"chairblock/store/pg"
)

// DemoCmd shows the whole service with an invented salon, on a private
// database that needs no set-up.
type DemoCmd struct {
	Listen string `default:"127.0.0.1:8080" help:"Address to listen on."`
	Data   string `placeholder:"DIR" help:"Folder of the demo's database and messages. Left out: beside the usual data folder."`
	Fresh  bool   `help:"Forget what was booked in the demo and begin again."`
}

// Run loads the demonstration, prints how to use it and serves until Ctrl-C.
func (c *DemoCmd) Run(out io.Writer) error {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	log := func(format string, args ...any) { fmt.Fprintf(out, format+"\n", args...) }
	if c.Data == "" {
		dir, err := pg.DefaultDir()
		if err != nil {
			return err
		}
		c.Data = dir + "-demo"
	}
	// Open to enter: as root, the account that runs PostgreSQL is another one.
	if err := os.MkdirAll(c.Data, 0o755); err != nil {
		return fmt.Errorf("data folder: %w", err)
	}
	mail := Mail{Maildir: filepath.Join(c.Data, "messages")}
	r, err := start(ctx, Database{Data: filepath.Join(c.Data, "postgres")}, mail, c.Listen, "", log)
	if err != nil {
		return err
	}
	defer r.close()
	if c.Fresh {
		if err := forget(ctx, r.store); err != nil {
			return err
		}
	}
	d, err := openDemo(ctx, r.store, time.Now(), log)
	if err != nil {
		return err
	}
	r.api.MountPages()
	if err := d.greet(ctx, r, mail.Maildir, out); err != nil {
		return err
	}
	return r.serve(ctx)
}

// forget removes the demonstration's salon with everything in it.
func forget(ctx context.Context, st *store.Store) error {
	row, err := st.FirstSalon(ctx)
	if errors.Is(err, scheduling.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	return st.InTx(ctx, row.ID, func(t *store.Tx) error { return t.DeleteSalon(ctx) })
}

// greeting is what the demonstration prints.
var greeting = template.Must(template.New("").Parse(`
{{.Salon}} is open.

  board and booking form   {{.Open}}
                           (opens once; print a new one by starting again)
  description of the API   {{.URL}}/openapi.json
  Ada's calendar           {{.Staff}}
  {{.Client}}'s calendar          {{.ClientFeed}}
  messages as files        {{.Maildir}}

  owner's token            {{.Owner}}
  desk's token             {{.Desk}}

A straightening visit was just booked for {{.Client}}:
{{.Words}}

Try it from another terminal:

export TOKEN={{.Desk}}
# 1. how long does it take on this hair?
curl -s {{.URL}}/v1/estimates -H "Authorization: Bearer $TOKEN" -H 'Content-Type: application/json' \
  -d '{"service_id":"{{.Service}}","hair":{{.Hair}}}'
# 2. when does the whole visit fit?
curl -s {{.URL}}/v1/openings -H "Authorization: Bearer $TOKEN" -H 'Content-Type: application/json' \
  -d '{"services":[{"service_id":"{{.Service}}","hair":{{.Hair}}}],"limit":3}'
# 3. book one of the openings
curl -s {{.URL}}/v1/visits -H "Authorization: Bearer $TOKEN" -H 'Content-Type: application/json' -H 'Idempotency-Key: {{.Key}}' \
  -d '{"client_id":"{{.ClientID}}","start":"{{.Start}}","services":[{"service_id":"{{.Service}}","lead_id":"{{.Lead}}","hair":{{.Hair}}}],"approved_by":"Ada Birch"}'
# 4. see it in the stylist's calendar
curl -s {{.LeadFeed}}

Ctrl-C ends everything.
`))

// greet books one visit, makes tokens and feeds, and prints the tour.
func (d *demoSalon) greet(ctx context.Context, r *running, maildir string, out io.Writer) error {
	d.clock = time.Now()
	g := map[string]any{"Salon": d.row.Name, "URL": r.url, "Maildir": maildir, "Key": store.NewID(),
		"Service": d.services["Straightening"].ID, "Client": d.clients[0].GivenName, "ClientID": d.clients[0].ID}
	hair, err := json.Marshal(demoHair())
	if err != nil {
		return err
	}
	g["Hair"] = string(hair)
	if err := d.bookTour(ctx, r.api, g); err != nil {
		return err
	}
	err = r.store.InTx(ctx, d.row.ID, func(t *store.Tx) error {
		var link string
		var err error
		if link, err = t.AddSessionLink(ctx, store.Owner, d.clock.Add(24*time.Hour)); err != nil {
			return err
		}
		g["Open"] = r.api.SessionURL(link)
		for name, role := range map[string]store.Role{"Owner": store.Owner, "Desk": store.Desk} {
			if _, g[name], err = t.AddToken(ctx, role, "", "demo", nil); err != nil {
				return err
			}
		}
		feed := func(name, kind, subject string) error {
			_, secret, err := t.AddFeed(ctx, kind, subject)
			g[name] = r.api.FeedURL(secret)
			return err
		}
		return errors.Join(feed("Staff", "staff", d.staff[0].ID), feed("LeadFeed", "staff", g["Lead"].(string)),
			feed("ClientFeed", "client", d.clients[0].ID))
	})
	if err != nil {
		return err
	}
	return greeting.Execute(out, g)
}

// bookTour books the first opening for a straightening visit and leaves the
// next one to whoever follows the tour.
func (d *demoSalon) bookTour(ctx context.Context, s *api.Server, g map[string]any) error {
	hair := demoHair()
	services := []api.ServiceRequest{{ServiceID: d.services["Straightening"].ID, Hair: &hair}}
	ask := api.OpeningsRequest{Services: services, FirstDate: scheduling.CivilDate(d.clock, d.loc).Add(1).String(), Limit: 1}
	for i := range 2 {
		found, err := s.Openings(ctx, d.row.ID, ask)
		if err != nil {
			return err
		}
		if len(found.Openings) == 0 {
			return errors.New("the demo's calendar is full: start with --fresh")
		}
		o := found.Openings[0]
		if i == 1 {
			g["Start"], g["Lead"] = o.Start.Format(time.RFC3339), o.LeadID
			return nil
		}
		g["Words"] = o.Words
		services[0].LeadID = o.LeadID
		_, err = s.Book(ctx, d.row.ID, api.VisitRequest{ClientID: d.clients[0].ID, Start: o.Start, Services: services, ApprovedBy: "Ada Birch"})
		if err != nil {
			return err
		}
		services[0].LeadID = ""
	}
	return nil
}
