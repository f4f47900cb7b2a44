package store

import (
	"context"
	"errors"

	"github.com/riverqueue/river"

	"chairblock/scheduling"
)

// Notice is a mail to somebody who signs in, about how she does.
type Notice struct {
	Salon   Salon
	Account Account
	What    string // what has happened
	ID      int64  // unique to the mail
}

type noticeArgs struct {
	Salon   string `json:"salon"`
	Account string `json:"account"`
	What    string `json:"what"`
}

// Kind names the job.
func (noticeArgs) Kind() string { return "account_notice" }

// noticeTries is how often a mail is tried (judgement): for about two days, as the
// queue waits a second after the first and n to the fourth seconds after the nth try
// (documentation of river; 178,312 s in all, derived), so that a mail server that is
// away over a night or a day off loses none.
const noticeTries = 16

// TellAccounts sets what sends notices. Call it before StartJobs; without it they are
// dropped.
func (s *Store) TellAccounts(f func(context.Context, Notice) error) { s.tellAccount = f }

// AddNotice lets the person of an account be told what has happened, once the
// transaction is committed.
func (t *Tx) AddNotice(ctx context.Context, account, what string) error {
	if _, err := t.AccountByID(ctx, account); err != nil {
		return err
	}
	_, err := t.jobs.InsertTx(ctx, t.tx, noticeArgs{t.salon, account, what}, &river.InsertOpts{MaxAttempts: noticeTries})
	return domain("add notice", err, false)
}

type noticeWorker struct {
	river.WorkerDefaults[noticeArgs]
	store *Store
}

// Work sends one notice, unless the account is gone or has no address.
func (w *noticeWorker) Work(ctx context.Context, job *river.Job[noticeArgs]) error {
	if w.store.tellAccount == nil {
		return nil
	}
	n := Notice{What: job.Args.What, ID: job.ID}
	err := w.store.InTx(ctx, job.Args.Salon, func(t *Tx) (err error) {
		if n.Salon, err = t.SalonRow(ctx); err == nil {
			n.Account, err = t.AccountByID(ctx, job.Args.Account)
		}
		return err
	})
	switch {
	case errors.Is(err, scheduling.ErrNotFound):
		return nil
	case err != nil:
		return err
	}
	return w.store.tellAccount(ctx, n)
}
