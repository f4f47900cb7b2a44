package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"chairblock/api"
	"chairblock/api/notify"
	"chairblock/store"
	"chairblock/store/backup"
	"chairblock/store/pg"
)

// DoctorCmd looks at everything that the service needs.
type DoctorCmd struct {
	Database
	Mail
	Replies Replies `embed:""`
	HealthKey
	Erasures
	Transport
}

// A verdict is how something is.
type verdict string

const (
	well  verdict = "well"
	mind  verdict = "mind"  // the service works; somebody should look
	wrong verdict = "wrong" // the service does not work, or loses something
)

// Bounds of what is called well (judgement).
const (
	clockApart   = 2 * time.Second  // of two machines
	clockWrong   = time.Minute      // sessions and reminders suffer
	leastRoom    = 1 << 30          // bytes free where the data lies
	fullRoom     = 100 << 20        // a day's work of a salon and its log
	longOpen     = 5 * time.Minute  // of a transaction
	jobsLate     = 10 * time.Minute // the longest that a healthy service lets a job wait, with some to spare
	zoneDays     = 730              // as far ahead as anybody books
	doctorsTime  = 30 * time.Second // for each thing that is asked
	mostConnects = 0.8              // share of the connections of the server
)

// finding is one line of the report.
type finding struct {
	about string
	verdict
	says, remedy string
}

// findings is the report.
type findings []finding

func (f *findings) add(about string, v verdict, remedy, says string, args ...any) {
	*f = append(*f, finding{about, v, fmt.Sprintf(says, args...), remedy})
}

// Run prints a line for each thing, and what to do below those that are not well.
// It fails when something is wrong.
func (c *DoctorCmd) Run(out io.Writer) error {
	ctx, stop := untilTold()
	defer stop()
	var f findings
	url, end, err := c.attach(ctx, func(string, ...any) {})
	if err != nil {
		f.add("database", wrong, "start it, or correct the address; without --database-url the service runs one of its own in --data", "%v", plainly(err))
	} else {
		defer end()
		ready := c.database(ctx, &f, url)
		c.key(ctx, &f, url, ready)
	}
	c.disk(&f)
	c.mail(ctx, &f)
	c.transport(&f)
	c.backups(&f)
	c.erasures(&f)
	bad := 0
	for _, x := range f {
		fmt.Fprintf(out, "%-6s %-10s %s\n", x.verdict, x.about, x.says)
		if x.remedy != "" && x.verdict != well {
			fmt.Fprintf(out, "%18s%s\n", "", x.remedy)
		}
		if x.verdict == wrong {
			bad++
		}
	}
	if bad > 0 {
		return fmt.Errorf("%d of %d things are wrong", bad, len(f))
	}
	return nil
}

// plainly is an error without what lies below its first line.
func plainly(err error) string {
	line, _, _ := strings.Cut(err.Error(), "\n")
	return line
}

// database looks at the database, and says whether it has this program's schema.
func (c *DoctorCmd) database(ctx context.Context, f *findings, url string) bool {
	ctx, cancel := context.WithTimeout(ctx, doctorsTime)
	defer cancel()
	x, err := store.Examine(ctx, url)
	if err != nil {
		f.add("database", wrong, "try again; if it stays so, look at the log of PostgreSQL", "%v", err)
		return false
	}
	f.add("database", well, "", "PostgreSQL %s answers, keeps what it acknowledges, and holds %s", x.Version, size(x.Size))
	if x.ReadOnly {
		f.add("database", wrong, "name the server that may be written to", "it takes no changes")
	}
	if float64(x.Connections) > mostConnects*float64(x.MaxConnections) {
		f.add("database", mind, "raise max_connections, or let fewer programs use it", "%d of %d connections are taken", x.Connections, x.MaxConnections)
	}
	if x.Oldest > longOpen {
		f.add("database", mind, "find it in pg_stat_activity and end it: it keeps old rows from being cleared away", "a transaction is open for %v", x.Oldest.Round(time.Second))
	}
	clocks(f, x)
	if !schema(f, x) {
		return false
	}
	content(ctx, f, url, x)
	zones(ctx, f, url, x)
	return true
}

// schema reports whether the database is of this program's.
func schema(f *findings, x store.Checkup) bool {
	switch {
	case x.Schema == x.Newest:
		return true
	case x.Schema > x.Newest:
		f.add("schema", wrong, "use the newer chairblock", "%d, made by a newer program than this one, which knows %d", x.Schema, x.Newest)
	default:
		f.add("schema", wrong, "run: chairblock migrate (serve does so by itself when it starts)", "%d, while this program needs %d", x.Schema, x.Newest)
	}
	return false
}

func content(ctx context.Context, f *findings, url string, x store.Checkup) {
	f.add("schema", well, "", "%d, the newest; %d salons", x.Schema, x.Salons)
	if !x.Guarded {
		f.add("bookings", wrong, "restore the newest backup into an empty database; do not take bookings until then", "the constraint that forbids double bookings is gone")
	} else {
		f.add("bookings", well, "", "the database refuses two bookings of the same time")
	}
	switch lines, err := store.CheckLog(ctx, url); {
	case err != nil:
		f.add("log", wrong, "find out who works on the database beside the service; compare with the newest backup", "%v", err)
	default:
		f.add("log", well, "", "%d lines of who changed what fit together", lines)
	}
	if len(x.Damaged) > 0 {
		f.add("schema", wrong, "run REINDEX on them, or VALIDATE CONSTRAINT, as the database's owner", "not valid: %s", strings.Join(x.Damaged, ", "))
	}
	switch {
	case x.JobsLate > jobsLate:
		f.add("messages", wrong, "start the service (chairblock serve); if it runs, look at its log", "%d jobs wait, the first for %v: nobody works them off", x.JobsWaiting, x.JobsLate.Round(time.Second))
	default:
		f.add("messages", well, "", "%d jobs wait", x.JobsWaiting)
	}
	if x.MessagesFailed > 0 {
		f.add("messages", mind, "they stand on the page of messages, each with why: send them again or call", "%d could not be delivered", x.MessagesFailed)
	}
	if x.JobsFailed > 0 {
		f.add("jobs", mind, "look at the log of the service at that time", "%d were given up in the last seven days", x.JobsFailed)
	}
}

func clocks(f *findings, x store.Checkup) {
	apart := x.Now.Sub(x.Here).Abs().Round(100 * time.Millisecond)
	const remedy = "set both clocks by the network (NTP)"
	switch {
	case apart > clockWrong:
		f.add("clock", wrong, remedy, "this machine's and the database's are %v apart", apart)
	case apart > clockApart:
		f.add("clock", mind, remedy, "this machine's and the database's are %v apart", apart)
	default:
		f.add("clock", well, "", "%s UTC, here and in the database", x.Here.UTC().Format("2006-01-02 15:04:05"))
	}
}

// zones compares what this machine and the database know of the salons' clocks.
func zones(ctx context.Context, f *findings, url string, x store.Checkup) {
	version := api.ZoneData()
	if version == "unknown" {
		f.add("zones", mind, "install the package tzdata", "this machine does not say how old its zone data is")
	}
	from := x.Now.UTC().Truncate(24 * time.Hour).Add(12 * time.Hour)
	for _, zone := range x.Zones {
		loc, err := time.LoadLocation(zone)
		if err != nil {
			f.add("zones", wrong, "install the package tzdata", "this machine does not know %s, the zone of a salon", zone)
			continue
		}
		theirs, err := store.ZoneOffsets(ctx, url, zone, from, zoneDays)
		if err != nil {
			f.add("zones", mind, "bring the zone data of the database server up to date", "the database does not know %s, the zone of a salon", zone)
			continue
		}
		for i, there := range theirs {
			day := from.AddDate(0, 0, i)
			if _, here := day.In(loc).Zone(); here != there {
				f.add("zones", mind, "bring the older of the two up to date (package tzdata); calendars would be an hour off", "this machine and the database disagree about the clocks of %s on %s", zone, day.Format(time.DateOnly))
				break
			}
		}
	}
	f.add("zones", well, "", "zone data %s, %d zones of salons looked at for two years", version, len(x.Zones))
}

// key says whether serve starts with the keys that are named. ready means that the
// database has this program's schema.
func (c *DoctorCmd) key(ctx context.Context, f *findings, url string, ready bool) {
	ctx, cancel := context.WithTimeout(ctx, doctorsTime)
	defer cancel()
	var seal *store.Sealer
	if c.HealthKey.File != "" {
		var err error
		if seal, err = store.ReadSealer(c.HealthKey.File); err != nil {
			f.add("health", wrong, "name the file that chairblock health-key made, and see that this account may read it", "%v", plainly(err))
			return
		}
	}
	if !ready {
		f.add("health", mind, "look again when the database is well", "whether the keys open all answers was not looked at")
		return
	}
	st, err := store.Open(ctx, url, 1)
	if err != nil {
		f.add("health", wrong, "", "%v", err)
		return
	}
	defer st.Close()
	st.SealWith(seal)
	err = st.CheckKeys(ctx)
	_, missing := errors.AsType[*store.MissingKeysError](err)
	switch {
	case missing && c.Lost:
		f.add("health", mind, "name the file that holds those keys, should it be found", "%v; they stay unreadable", plainly(err))
	case missing:
		f.add("health", wrong, "serve does not start so: name the file that holds them with --health-key-file or, when they are lost for good, add --health-key-lost", "%v", plainly(err))
	case err != nil:
		f.add("health", wrong, "try again; if it stays so, look at the log of PostgreSQL", "%v", plainly(err))
	case seal == nil:
		f.add("health", mind, "make one with chairblock health-key and name it with --health-key-file", "no key is named: consultations are refused")
	default:
		f.add("health", well, "", "the key %s opens all answers", seal.KeyID())
	}
}

// disk looks at the room where the service writes.
func (c *DoctorCmd) disk(f *findings) {
	places := map[string]string{}
	if c.DatabaseURL == "" {
		dir := c.Data
		if dir == "" {
			dir, _ = pg.DefaultDir()
		}
		places["data"] = dir
	}
	if c.Maildir != "" {
		places["maildir"] = c.Maildir
	}
	for _, name := range []string{"data", "maildir"} {
		dir, ok := places[name]
		if !ok {
			continue
		}
		free, err := room(existing(dir))
		switch {
		case errors.Is(err, errors.ErrUnsupported):
		case err != nil:
			f.add("disk", wrong, "see that the folder is there and may be entered", "%s: %v", name, plainly(err))
		case free < fullRoom:
			f.add("disk", wrong, "make room: PostgreSQL stops when there is none", "%s free for the %s in %s", size(free), name, dir)
		case free < leastRoom:
			f.add("disk", mind, "make room", "%s free for the %s in %s", size(free), name, dir)
		default:
			f.add("disk", well, "", "%s free for the %s in %s", size(free), name, dir)
		}
	}
}

// existing is the folder, or the nearest above it that is there.
func existing(dir string) string {
	for {
		if _, err := os.Stat(dir); err == nil || filepath.Dir(dir) == dir {
			return dir
		}
		dir = filepath.Dir(dir)
	}
}

func (c *DoctorCmd) mail(ctx context.Context, f *findings) {
	if c.SMTP == "" && c.Maildir == "" {
		f.add("mail", mind, "name a mail server with --smtp-url or a folder with --maildir, as for serve", "not looked at")
		return
	}
	sender, err := notify.Open(c.SMTP, orNothing(c.Maildir, c.SMTP))
	if err != nil {
		f.add("mail", wrong, "", "%v", plainly(err))
		return
	}
	ctx, cancel := context.WithTimeout(ctx, doctorsTime)
	defer cancel()
	reach, ok := sender.(interface{ Reach(context.Context) error })
	if !ok {
		return
	}
	if err := reach.Reach(ctx); err != nil {
		f.add("mail", wrong, "correct --smtp-url or --maildir, or ask who runs the mail server; messages wait meanwhile", "%v", plainly(err))
		return
	}
	f.add("mail", well, "", "mails can be handed over")
	if c.Replies.Maildir != "" {
		if _, err := notify.OpenInbox(c.Replies.Maildir); err != nil {
			f.add("replies", wrong, "", "%v", plainly(err))
			return
		}
		f.add("replies", well, "", "the folder for answers to invitations can be used")
	}
}

// transport looks at how the service is reached.
func (c *DoctorCmd) transport(f *findings) {
	cert, err := c.certificate()
	if err != nil {
		f.add("transport", wrong, "correct the setting; the service does not start with it", "%v", err)
		return
	}
	cautions := c.cautions(cert, time.Now())
	for _, x := range cautions {
		f.add("transport", mind, x.remedy, "%s", x.says)
	}
	switch {
	case len(cautions) > 0:
	case cert != nil:
		f.add("transport", well, "", "encrypted with a certificate that counts until %s", minuteUTC(cert.pair.Leaf.NotAfter))
	case loopback(c.Listen):
		f.add("transport", well, "", "only this machine reaches the service; whoever else is to needs a proxy with TLS")
	default:
		f.add("transport", well, "", "a proxy is named, which has to encrypt")
	}
}

// erasures looks at the list that serve writes to, if one is named.
func (c *DoctorCmd) erasures(f *findings) {
	if c.Erasures.File == "" {
		return
	}
	list, err := (&erasureList{path: c.Erasures.File}).read()
	if err == nil {
		_, err = os.Stat(filepath.Dir(c.Erasures.File))
	}
	if err != nil {
		f.add("erasures", wrong, "name the file that serve has written, in a folder that is there, and see that this account may read it", "%v", plainly(err))
		return
	}
	f.add("erasures", well, "", "%d are on the list outside the database", len(list))
}

func (c *DoctorCmd) backups(f *findings) {
	if _, err := backup.Programs(c.Postgres); err != nil {
		f.add("backup", mind, "install the package postgresql-client, or name the folder with --postgres", "pg_dump is not found on this machine: chairblock backup cannot work here")
		return
	}
	f.add("backup", well, "", "chairblock backup can work here; that backups are made and can be read is yours to see to")
}
