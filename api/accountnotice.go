package api

import (
	"context"
	"fmt"
	"log/slog"
	netmail "net/mail"
	"strings"

	"chairblock/api/notify"
	"chairblock/store"
)

// What people are told about how they sign in. They have one wording, in English.
const (
	noticeReset    = "second-step-reset"
	noticeRecovery = "recovery-code-used"
)

var noticeWords = map[string]struct{ subject, text string }{
	noticeReset: {"Your second step was taken away", "the second step with which you sign in, a code that changes with time, was taken away by an owner.\n" +
		"Your password alone opens now, until you set the second step up again. You were signed out everywhere."},
	noticeRecovery: {"A recovery code was used", "one of your recovery codes was used in place of the code of your second step."},
}

// TellAccount is what sends mails about how people sign in. It returns a
// *store.TryAgainError when one is worth another try.
func (s *Server) TellAccount(sender notify.Sender) func(context.Context, store.Notice) error {
	return func(ctx context.Context, n store.Notice) error {
		words, ok := noticeWords[n.What]
		if !ok || n.Account.Login == "" || n.Salon.Mail == "" {
			slog.WarnContext(ctx, "notice not sent", "salon", n.Salon.ID, "account", n.Account.ID, "what", n.What)
			return nil
		}
		_, host, _ := strings.Cut(n.Salon.Mail, "@")
		text := fmt.Sprintf("Hello,\n\n%s\n\nIf you do not know why, tell an owner of %s, and choose a new password.\n\n%s\n", words.text, n.Salon.Name, n.Salon.Name)
		out, err := handedOver(store.ByMail, sender.Send(ctx, notify.Mail{
			From: netmail.Address{Name: n.Salon.Name, Address: n.Salon.Mail}, To: netmail.Address{Name: n.Account.Name, Address: n.Account.Login},
			Subject: words.subject, Text: text, MessageID: notify.MessageID(n.Salon.Key, fmt.Sprint(n.ID), notify.Kind(n.What), 1, host),
		}))
		if out.State == store.Failed {
			slog.WarnContext(ctx, "notice not sent", "salon", n.Salon.ID, "account", n.Account.ID, "what", n.What, "err", out.Problem)
			return nil
		}
		return err
	}
}
