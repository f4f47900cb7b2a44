package api

import (
	"context"
	"log/slog"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"

	"chairblock/api/passwords"
	"chairblock/scheduling"
	"chairblock/store"
)

// SecondFactorBody is what somebody sees of her second step.
type SecondFactorBody struct {
	Since    *time.Time `json:"since,omitempty" doc:"Since when a code is asked for beside the password; left out for never"`
	Codes    int        `json:"recovery_codes_left" minimum:"0" maximum:"10" doc:"Recovery codes that were not used yet"`
	Required bool       `json:"required" doc:"The salon asks it of her, so that it cannot be taken away"`
	From     string     `json:"required_from,omitempty" format:"date" doc:"The first day on which the salon asks it of her; left out when it does already, and when it does not"`
}

// FactorSetUpBody is what a program on a telephone is given to make codes.
type FactorSetUpBody struct {
	Secret  string `json:"secret" doc:"To be typed, in base32; what stands between letters does not count"`
	Address string `json:"address" doc:"The same as an otpauth address, for a code to be photographed"`
}

// FactorCodeBody is a code as it was typed.
type FactorCodeBody struct {
	Code string `json:"code" maxLength:"60" doc:"The code that is shown now" example:"123456"`
}

// RecoveryCodesBody are recovery codes, shown once.
type RecoveryCodesBody struct {
	Codes []string `json:"recovery_codes" nullable:"false" doc:"Each opens once in place of a code; they are shown only now, and earlier ones are worth nothing any more"`
}

// AccessRulesBody is what the salon asks of those who sign in.
type AccessRulesBody struct {
	OwnersFactor     bool   `json:"owners_second_factor" doc:"Owners need a second step; otherwise it is advised"`
	EverybodysFactor bool   `json:"everybodys_second_factor" required:"false" doc:"Everybody who signs in with a password needs one; a shared screen, and who opens her pages by a link of the salon, do not"`
	From             string `json:"second_factor_from,omitempty" required:"false" format:"date" doc:"The first day on which it is asked for, so that there is time to set it up; left out: at once"`
}

// read checks the rules.
func (b AccessRulesBody) read() (store.AccessRules, error) {
	var f scheduling.Faults
	r := store.AccessRules{OwnersFactor: b.OwnersFactor, EverybodysFactor: b.EverybodysFactor}
	if b.From != "" {
		r.From = new(day(&f, "second_factor_from", b.From))
	}
	return r, f.Err()
}

type factorCodeInput struct{ Body FactorCodeBody }
type accessRulesInput struct {
	Precondition
	Body AccessRulesBody
}

// stateAnswers are what operations may answer with that depend on a present state.
var stateAnswers = []int{http.StatusNotFound, http.StatusConflict}

func (s *Server) secondFactorRoutes() {
	const me = "/me/second-factor"
	route(s, huma.Operation{OperationID: "get-own-second-factor", Method: http.MethodGet, Path: me, Summary: "Whether whoever has signed in has a second step"}, s.getOwnFactor)
	route(s, huma.Operation{OperationID: "begin-own-second-factor", Errors: stateAnswers, Method: http.MethodPost, Path: me, Summary: "Make a secret for a second step, which counts once a code of it is confirmed",
		Description: "Codes are those of RFC 6238: six digits of HMAC-SHA-1, every 30 seconds.", DefaultStatus: http.StatusCreated}, s.beginOwnFactor)
	route(s, huma.Operation{OperationID: "confirm-own-second-factor", Errors: stateAnswers, Method: http.MethodPost, Path: me + "/confirmation", Summary: "Confirm the second step by a code, and get recovery codes",
		Description: "She is signed out everywhere else."}, s.confirmOwnFactor)
	route(s, huma.Operation{OperationID: "new-recovery-codes", Errors: stateAnswers, Method: http.MethodPost, Path: me + "/recovery-codes", Summary: "Make new recovery codes"}, s.newRecoveryCodes)
	route(s, huma.Operation{OperationID: "end-own-second-factor", Errors: stateAnswers, Method: http.MethodDelete, Path: me, Summary: "Take the own second step away",
		Description: "She is signed out everywhere else."}, s.endOwnFactor)
	route(s, huma.Operation{OperationID: "reset-second-factor", Errors: stateAnswers, Method: http.MethodDelete, Path: "/accounts/{id}/second-factor", Summary: "Take somebody's second step away who cannot take it any more",
		Description: "She is signed out everywhere, and told by mail."}, s.resetFactor)
	route(s, huma.Operation{OperationID: "get-access-rules", Method: http.MethodGet, Path: "/access-rules", Summary: "What the salon asks of those who sign in"}, s.getAccessRules)
	route(s, huma.Operation{OperationID: "set-access-rules", Method: http.MethodPut, Path: "/access-rules", Summary: "Say what the salon asks of those who sign in"}, s.setAccessRules)
}

// withoutFactor are the operations that are open to whoever has to set a second step
// up first: those with which she does.
var withoutFactor = []string{"get-salon", "get-own-second-factor", "begin-own-second-factor", "confirm-own-second-factor", "sign-out"}

const factorWords = "this salon asks you for a second step when you sign in: set yours up first"

// askFactor leads an owner who needs a second step to where she sets it up.
func (s *Server) askFactor(c echo.Context) error {
	if reads(c.Request().Method) && !scripted(c.Request()) {
		return c.Redirect(http.StatusSeeOther, FactorPath)
	}
	return message(c, http.StatusForbidden, titles["second-step-needed"], factorWords)
}

// FactorPath is the page of somebody's own second step.
const FactorPath = "/me/second-step"

// errWrongStep says the same of codes that are wrong, old and used.
var errWrongStep = &scheduling.InvalidError{Field: "step", Problem: "is not right, or was used already", Want: "the code that is shown now, or a recovery code"}

// secondStepOf wants the code of an account's second step, in the salon of ctx, and
// nothing of an account that has none. Errors are errWrongStep, and *Problem with
// status 429 while no code is looked at.
func (s *Server) secondStepOf(ctx context.Context, account, code string) error {
	var f store.Factor
	err := s.read(ctx, func(t *store.Tx) (err error) { f, err = t.FactorOf(ctx, account); return err })
	if err != nil || !f.On() {
		return err
	}
	return s.secondStep(ctx, principal(ctx).Salon, account, code)
}

// secondStep wants the code of an account's second step. Errors are those of
// secondStepOf, and scheduling.ErrNotFound for an account that has none any more.
func (s *Server) secondStep(ctx context.Context, salon, account, code string) error {
	if strings.TrimSpace(code) == "" { // no try
		return &scheduling.InvalidError{Field: "step", Problem: "is missing", Want: errWrongStep.Want}
	}
	var locked time.Duration
	var count store.WrongCodes
	var by string
	err := s.store.InTx(ctx, salon, func(t *store.Tx) error {
		return t.UseFactor(ctx, account, s.now(), func(u *store.FactorUse) (err error) {
			if !u.Confirmed {
				return scheduling.ErrNotFound
			}
			by = ""
			if locked = countCode(&u.Wrong, s.now()); locked > 0 {
				return nil
			}
			count = u.Wrong
			if by, err = s.tryStep(ctx, t, u, account, code); by != "" {
				u.Wrong.Misses, u.Wrong.Locked = max(0, u.Wrong.Misses-1), time.Time{}
			}
			return err
		})
	})
	switch {
	case err != nil:
		return err
	case locked > 0:
		s.stepNoted(ctx, slog.LevelWarn, "second step refused", salon, account, "why", "locked")
		return stepLocked(locked)
	case by == "":
		s.stepNoted(ctx, slog.LevelWarn, "second step refused", salon, account, "why", "wrong", "lately", count.Misses)
		if wait := lockFor(count.Misses); wait > 0 {
			return stepLocked(wait)
		}
		return errWrongStep
	}
	s.stepNoted(ctx, slog.LevelInfo, "second step taken", salon, account, "by", by)
	return nil
}

// tryStep says by what a code is right, "" when it is wrong.
func (s *Server) tryStep(ctx context.Context, t *store.Tx, u *store.FactorUse, account, code string) (by string, err error) {
	if passwords.LooksTimed(code) {
		secret, err := u.Secret()
		if err != nil {
			return "", err
		}
		step, ok := passwords.StepOf(secret, code, s.now(), u.LastStep)
		if !ok {
			return "", nil
		}
		u.LastStep = step
		return "code", nil
	}
	folded := passwords.FoldRecovery(code)
	if folded == "" {
		return "", nil
	}
	err = t.UseRecoveryCode(ctx, account, folded, s.now())
	if is(err, scheduling.ErrNotFound) {
		return "", nil
	}
	if err == nil {
		err = t.AddNotice(ctx, account, noticeRecovery)
	}
	return "recovery code", err
}

func stepLocked(wait time.Duration) *Problem {
	p := newProblem(http.StatusTooManyRequests, "too-many-tries", "there were too many wrong codes of the second step lately: wait "+minutesWords(wait)+", then try again")
	p.retryAfter = max(1, int(math.Ceil(wait.Seconds())))
	return p
}

func (s *Server) stepNoted(ctx context.Context, level slog.Level, what, salon, account string, more ...any) {
	slog.Log(ctx, level, what, append([]any{"salon", salon, "account", account}, more...)...)
}

// staysIn names the session or the token of whoever asks.
func staysIn(ctx context.Context) string {
	if id := session(ctx).Session; id != "" {
		return id
	}
	return principal(ctx).Token
}

// needsStep reports whether the salon asks an account for a second step, or from which
// day on it will.
func (s *Server) needsStep(ctx context.Context, t *store.Tx) (now bool, from string, err error) {
	p := principal(ctx)
	r, now, later, err := s.asksStep(ctx, t, append(slices.Clone(p.Roles), p.Role))
	if later {
		from = r.From.String()
	}
	return now, from, err
}

// asksStep reports whether the salon asks those with roles for a second step, or will.
func (s *Server) asksStep(ctx context.Context, t *store.Tx, roles []store.Role) (r store.AccessRules, now, later bool, err error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return r, false, false, err
	}
	if r, err = t.AccessRules(ctx); err == nil {
		now, later = r.Asks(roles, n.today(s.now()))
	}
	return r, now, later, err
}

// lacksStep reports whether the salon asks somebody with roles for a second step by now
// and her account has none.
func (s *Server) lacksStep(ctx context.Context, t *store.Tx, account string, roles []store.Role) (bool, error) {
	_, asks, _, err := s.asksStep(ctx, t, roles)
	if err != nil || !asks {
		return false, err
	}
	f, err := t.FactorOf(ctx, account)
	return err == nil && !f.On(), err
}

func (s *Server) getOwnFactor(ctx context.Context, _ *empty) (*struct{ Body SecondFactorBody }, error) {
	var out SecondFactorBody
	id, err := account(ctx)
	if err != nil { // a program's token, or a browser that a link has signed in
		return &struct{ Body SecondFactorBody }{out}, nil
	}
	err = s.read(ctx, func(t *store.Tx) error {
		f, err := t.FactorOf(ctx, id)
		if err != nil {
			return err
		}
		out = SecondFactorBody{Since: f.Confirmed, Codes: f.Codes}
		out.Required, out.From, err = s.needsStep(ctx, t)
		return err
	})
	return &struct{ Body SecondFactorBody }{out}, err
}

func (s *Server) beginOwnFactor(ctx context.Context, _ *empty) (*created[FactorSetUpBody], error) {
	id, err := account(ctx)
	if err != nil {
		return nil, err
	}
	secret := passwords.NewSecret()
	var out FactorSetUpBody
	err = s.inTx(ctx, func(t *store.Tx) error {
		a, err := t.AccountByID(ctx, id)
		if err != nil {
			return err
		}
		n, err := t.SalonRow(ctx)
		if err != nil {
			return err
		}
		out = FactorSetUpBody{passwords.WrittenSecret(secret), passwords.SecretAddress(secret, n.Name, a.Login)}
		err = t.BeginFactor(ctx, id, secret, s.now())
		if is(err, scheduling.ErrStale) {
			return newProblem(http.StatusConflict, "conflict", "there is a second step already: take it away before you set up another one")
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return &created[FactorSetUpBody]{Location: "/v1/me/second-factor", Body: out}, nil
}

func (s *Server) confirmOwnFactor(ctx context.Context, in *factorCodeInput) (*struct{ Body RecoveryCodesBody }, error) {
	var f scheduling.Faults
	text(&f, "code", in.Body.Code, 0, 60)
	if err := f.Err(); err != nil {
		return nil, err
	}
	id, err := account(ctx)
	if err != nil {
		return nil, err
	}
	codes := passwords.NewRecoveryCodes()
	confirmed := false
	err = s.inTx(ctx, func(t *store.Tx) error {
		confirmed = false
		err := t.UseFactor(ctx, id, s.now(), func(u *store.FactorUse) error {
			if u.Confirmed {
				return scheduling.ErrNotFound
			}
			secret, err := u.Secret()
			if err != nil {
				return err
			}
			// Nothing is to be guessed: whoever sets it up was shown the secret.
			u.LastStep, confirmed = passwords.StepOf(secret, in.Body.Code, s.now(), u.LastStep)
			if !confirmed {
				return &scheduling.InvalidError{Field: "code", Problem: "is not that of the secret", Want: "the six digits that are shown now; the clock of the telephone has to be right"}
			}
			return nil
		})
		switch {
		case is(err, scheduling.ErrNotFound):
			return newProblem(http.StatusConflict, "conflict", "no second step waits to be confirmed: begin with a secret")
		case err != nil:
			return err
		}
		if err := t.ConfirmFactor(ctx, id, s.now()); err != nil {
			return err
		}
		if err := s.setRecovery(ctx, t, id, codes); err != nil {
			return err
		}
		return t.EndSessions(ctx, id, staysIn(ctx))
	})
	if err != nil {
		return nil, err
	}
	s.accessNoted(ctx, slog.LevelInfo, "second step set up", "account", id)
	return &struct{ Body RecoveryCodesBody }{RecoveryCodesBody{codes}}, nil
}

func (s *Server) setRecovery(ctx context.Context, t *store.Tx, account string, codes []string) error {
	folded := make([]string, len(codes))
	for i, c := range codes {
		folded[i] = passwords.FoldRecovery(c)
	}
	return t.SetRecoveryCodes(ctx, account, folded)
}

func (s *Server) newRecoveryCodes(ctx context.Context, _ *empty) (*struct{ Body RecoveryCodesBody }, error) {
	id, err := account(ctx)
	if err != nil {
		return nil, err
	}
	codes := passwords.NewRecoveryCodes()
	err = s.inTx(ctx, func(t *store.Tx) error {
		if f, err := t.FactorOf(ctx, id); err != nil {
			return err
		} else if !f.On() {
			return newProblem(http.StatusConflict, "conflict", "there is no second step: set it up first")
		}
		return s.setRecovery(ctx, t, id, codes)
	})
	if err != nil {
		return nil, err
	}
	s.accessNoted(ctx, slog.LevelInfo, "recovery codes made", "account", id)
	return &struct{ Body RecoveryCodesBody }{RecoveryCodesBody{codes}}, nil
}

func (s *Server) endOwnFactor(ctx context.Context, _ *empty) (*empty, error) {
	id, err := account(ctx)
	if err != nil {
		return nil, err
	}
	err = s.inTx(ctx, func(t *store.Tx) error {
		if now, from, err := s.needsStep(ctx, t); err != nil {
			return err
		} else if now || from != "" {
			return newProblem(http.StatusConflict, "conflict", "this salon asks for a second step: an owner changes that first, or takes yours away if you lost it")
		}
		if err := t.EndFactor(ctx, id); err != nil {
			return err
		}
		return t.EndSessions(ctx, id, staysIn(ctx))
	})
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, "second step taken away", "account", id)
	}
	return nil, err
}

func (s *Server) resetFactor(ctx context.Context, in *ByID) (*empty, error) {
	err := s.inTx(ctx, func(t *store.Tx) error {
		if _, err := t.AccountByID(ctx, in.ID); err != nil {
			return err
		}
		if err := t.EndFactor(ctx, in.ID); is(err, scheduling.ErrNotFound) {
			return newProblem(http.StatusConflict, "conflict", "this account has no second step")
		} else if err != nil {
			return err
		}
		if err := t.AddNotice(ctx, in.ID, noticeReset); err != nil {
			return err
		}
		return t.EndSessions(ctx, in.ID, "")
	})
	if err == nil {
		s.accessNoted(ctx, slog.LevelWarn, "second step of somebody taken away", "account", in.ID)
	}
	return nil, err
}

func (s *Server) getAccessRules(ctx context.Context, _ *empty) (*found[AccessRulesBody], error) {
	var r store.AccessRules
	err := s.read(ctx, func(t *store.Tx) (err error) { r, err = t.AccessRules(ctx); return err })
	return writeAccessRules(r), err
}

func writeAccessRules(r store.AccessRules) *found[AccessRulesBody] {
	b := AccessRulesBody{OwnersFactor: r.OwnersFactor, EverybodysFactor: r.EverybodysFactor}
	if r.From != nil {
		b.From = r.From.String()
	}
	return &found[AccessRulesBody]{ETag: etag(r.Version), Body: b}
}

func (s *Server) setAccessRules(ctx context.Context, in *accessRulesInput) (*found[AccessRulesBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	r, err := in.Body.read()
	if err != nil {
		return nil, err
	}
	r.Version = version
	err = s.inTx(ctx, func(t *store.Tx) error {
		was, err := t.AccessRules(ctx)
		if err != nil {
			return err
		}
		more := r.OwnersFactor && !was.OwnersFactor || r.EverybodysFactor && !was.EverybodysFactor
		if id, err := account(ctx); err == nil && more {
			if f, err := t.FactorOf(ctx, id); err != nil {
				return err
			} else if !f.On() {
				return newProblem(http.StatusConflict, "conflict", "you have no second step yourself: set it up before you ask it of others")
			}
		}
		r, err = t.SetAccessRules(ctx, r)
		return err
	})
	if err == nil {
		s.accessNoted(ctx, slog.LevelInfo, "access rules changed", "owners_second_factor", r.OwnersFactor, "everybodys_second_factor", r.EverybodysFactor)
	}
	return writeAccessRules(r), err
}
