package api_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/notify"
	"chairblock/store"
)

// BenchmarkAThousandMessages puts a thousand mails in line and works them off with
// the usual four workers: into a maildir, each brought to the disk, and to a mail
// server on this machine, each over a connection of its own.
func BenchmarkAThousandMessages(b *testing.B) {
	for name, open := range map[string]func(*salon) notify.Sender{
		"maildir": func(s *salon) notify.Sender {
			d, err := notify.OpenMaildir(b.TempDir())
			require.NoError(b, err)
			return d
		},
		"smtp": func(s *salon) notify.Sender { return s.mailServer(&post{}) },
	} {
		b.Run(name, func(b *testing.B) {
			s := newSalon(b)
			s.at(begin)
			sender, db := open(s), s.db()
			var visits []string
			for i := range 20 {
				v, _ := s.book(s.client("Mara"), begin.Add(time.Duration(25+7*24*i)*time.Hour), s.cut())
				visits = append(visits, v.ID)
			}
			var added, sent time.Duration
			n := 0
			for b.Loop() {
				at := time.Now()
				require.NoError(b, s.store.InTx(b.Context(), s.row.ID, func(t *store.Tx) error {
					for i := range 1000 {
						r := store.Reminder{Visit: visits[i%len(visits)], Kind: "confirmation", Due: time.Now(), MessageID: store.NewID() + "@harbour.example"}
						if _, err := t.AddReminder(b.Context(), r); err != nil {
							return err
						}
					}
					return nil
				}))
				added += time.Since(at)
				at = time.Now()
				jobs, err := s.store.StartJobs(context.Background(), s.server.Deliver(sender), s.server.Refit)
				require.NoError(b, err)
				for left := 1; left > 0; time.Sleep(10 * time.Millisecond) {
					require.NoError(b, db.QueryRow(`SELECT count(*) FROM reminder WHERE state IN ('waiting', 'sending') AND due_at <= now()`).Scan(&left))
				}
				sent += time.Since(at)
				require.NoError(b, jobs.Stop(b.Context()))
				n += 1000
			}
			b.ReportMetric(float64(n)/added.Seconds(), "added/s")
			b.ReportMetric(float64(n)/sent.Seconds(), "sent/s")
			var failed int
			require.NoError(b, db.QueryRow(`SELECT count(*) FROM reminder WHERE state <> 'sent' AND kind = 'confirmation'`).Scan(&failed))
			require.Zero(b, failed)
		})
	}
}
