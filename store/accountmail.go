package store

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"

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
// away over a night or a day off loses none. One that may have arrived mostLost times is
// tried no more.
const noticeTries = 16

// mayBeThere begins what the queue keeps of a try whose answer was lost.
const mayBeThere = "it may have arrived: "

// TellAccounts sets what sends notices, best with a *TryAgainError for those that did
// not go out. Call it before StartJobs; without it they are dropped.
func (s *Store) TellAccounts(f func(context.Context, Notice) error) { s.tellAccount = f }

// AddNotice lets the person of an account be told what has happened, once the
// transaction is committed.
func (t *Tx) AddNotice(ctx context.Context, account, what string) error {
	if _, err := t.AccountByID(ctx, account); err != nil {
		return err
	}
	_, err := t.jobs.InsertTx(ctx, t.tx, noticeArgs{t.salon, account, what}, &river.InsertOpts{Queue: messages, MaxAttempts: noticeTries})
	return domain("add notice", err, false)
}

type noticeWorker struct {
	river.WorkerDefaults[noticeArgs]
	store *Store
}

// Timeout is that of sending one message: who gives up on a server that looks closely at
// a mail before it answers sends the mail twice.
func (w *noticeWorker) Timeout(*river.Job[noticeArgs]) time.Duration {
	return w.store.work.orUsual().Timeout
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
	err = w.store.tellAccount(ctx, n)
	again, ok := errors.AsType[*TryAgainError](err)
	switch {
	case !ok || !again.Unknown:
		return err
	case 1+mayHaveArrived(job.Errors) >= mostLost:
		slog.WarnContext(ctx, "a notice is not sent again: it may have arrived", "salon", n.Salon.ID, "account", n.Account.ID, "what", n.What, "err", err)
		return nil
	}
	return fmt.Errorf(mayBeThere+"%w", err)
}

// mayHaveArrived is how many of the tries before lost the answer.
func mayHaveArrived(tries []rivertype.AttemptError) (n int) {
	for _, x := range tries {
		if strings.HasPrefix(x.Error, mayBeThere) {
			n++
		}
	}
	return n
}
