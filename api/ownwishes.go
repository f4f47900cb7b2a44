package api

import (
	"context"
	"slices"
	"strings"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// mostOwnFeeds is how many calendar addresses a client makes (judgement: one for
// each of her devices).
const mostOwnFeeds = 5

func (v *ownView) feeds(ctx context.Context) ([]store.Feed, error) {
	list, err := v.t.Feeds(ctx, v.client.ID)
	return slices.DeleteFunc(list, func(f store.Feed) bool { return f.Kind != store.FeedClient || f.Revoked != nil }), err
}

func ownCalendar(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("/own/calendar", "title_calendar")
	list, err := v.feeds(ctx)
	if err != nil {
		return d.page, err
	}
	d.say("", "calendar_about", nil)
	for i, f := range list {
		if i == 0 {
			d.head("calendar_yours")
		}
		says := notify.Says{"made": notify.Day(f.Created)}
		name := "calendar_unread"
		if f.LastUsed != nil {
			name, says["read"] = "calendar_read", *f.LastUsed
		}
		d.say("", name, says)
		d.add(pages.OwnBlock{Form: d.makeForm("/own/calendar/"+f.ID+"/end", "calendar_end")})
	}
	d.head("calendar_new")
	d.say("", "calendar_how", nil)
	form := d.makeForm("/own/calendar", "calendar_make")
	form.Main = true
	d.add(pages.OwnBlock{Form: form})
	d.say("soft", "calendar_late", nil)
	return d.end(), nil
}

// doCalendar makes an address of the client's calendar and leads to the page that
// helps to subscribe to it: the address is shown there and nowhere else.
func doCalendar(ctx context.Context, v *ownView) (string, error) {
	if err := v.t.LockClient(ctx, v.client.ID); err != nil {
		return "", err
	}
	list, err := v.feeds(ctx)
	if err != nil {
		return "", err
	}
	if len(list) >= mostOwnFeeds {
		return "", forbidden("wrong_calendars")
	}
	_, secret, err := v.t.AddFeed(ctx, store.FeedClient, v.client.ID, "")
	return strings.TrimPrefix(v.s.FeedPageURL(secret), v.s.base), err
}

func doEndCalendar(ctx context.Context, v *ownView) (string, error) {
	f, err := v.t.FeedByID(ctx, v.id)
	if err == nil && (f.Kind != store.FeedClient || f.Subject != v.client.ID) {
		err = scheduling.ErrNotFound
	}
	if err != nil {
		return "", err
	}
	return "/own/calendar?done=ended", v.t.RevokeFeed(ctx, f.ID)
}

// ownWays are the ways in which the reader of the page can be reached.
func (v *ownView) ownWays() []pages.Option {
	var out []pages.Option
	if v.to.mail != "" {
		out = append(out, pages.Option{ID: "mail", Name: v.label("by_mail")})
	}
	if v.to.phone != "" {
		out = append(out, pages.Option{ID: "text", Name: v.label("by_text")}, pages.Option{ID: "call", Name: v.label("by_call")})
	}
	return append(out, pages.Option{ID: "none", Name: v.label("by_none")})
}

func ownMessages(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("/own/messages", "title_messages")
	w, err := v.t.MessageWishOf(ctx, v.client.ID)
	if err != nil {
		return d.page, err
	}
	have, err := v.t.Languages(ctx)
	if err != nil {
		return d.page, err
	}
	languages := []pages.Option{{ID: shipped, Name: notify.English().Name()}}
	for _, x := range have {
		if words, err := v.s.languages.of(x.Version, func() (string, error) { x, err := v.t.LanguageByTag(ctx, x.Tag); return x.Doc, err }); err == nil && x.Tag != shipped {
			languages = append(languages, pages.Option{ID: x.Tag, Name: words.Name()})
		}
	}
	language, way, stopped, ways := w.Language, v.to.by, v.stoppedTopics(w), v.stoppedWays(w)
	if v.form.Has("way") { // what was typed
		language, way, stopped, ways = v.form.Get("language"), v.form.Get("way"), v.form["stop"], v.form["stop_way"]
	}
	var topics []pages.Option
	for _, t := range ownTopics {
		topics = append(topics, pages.Option{ID: t, Name: d.label("topic_" + t)})
	}
	both := []pages.Option{{ID: wayMail, Name: d.label("all_mail")}, {ID: wayText, Name: d.label("all_text")}}
	unasked := ""
	if v.to.by == wayNotAsked {
		unasked = d.label("way_choose")
	}
	fields := []pages.Field{
		pages.Select("way", d.label("way_wished"), d.label("way_hint"), way, v.ownWays(), unasked),
		pages.Select("language", d.label("language"), "", language, languages, d.label("language_salon")),
		pages.Tick("voice", d.label("voice"), "", w.Voice && !v.form.Has("way") || v.form.Get("voice") == "true"),
		pages.Several("stop", d.label("stop_about"), stopped, topics), pages.Several("stop_way", d.label("stop_ways"), ways, both),
	}
	for i := range fields {
		for _, x := range d.wrong {
			if x.Field == fields[i].Name {
				fields[i].Error = x.Text
			}
		}
	}
	d.say("", "messages_about", nil)
	form := d.makeForm("/own/messages", "save", fields...)
	form.Main = true
	d.add(pages.OwnBlock{Form: form})
	d.say("soft", "messages_moved", nil)
	return d.end(), nil
}

// ownTopics are what messages can be stopped about, in order.
var ownTopics = []string{aboutTheVisit, beforeVisit, afterVisit, comeAgain}

// stoppedTopics are the topics of which every kind of message was stopped.
func (v *ownView) stoppedTopics(w store.MessageWish) []string {
	var out []string
	for _, topic := range ownTopics {
		all := true
		for _, k := range clientKinds {
			if said := w.Said(string(k.kind), "", v.to.minor); k.topic == topic && (said == nil || *said) {
				all = false
			}
		}
		if all {
			out = append(out, topic)
		}
	}
	return out
}

func (v *ownView) stoppedWays(w store.MessageWish) []string {
	var out []string
	for _, way := range []string{wayMail, wayText} {
		if said := w.Said("", way, v.to.minor); said != nil && !*said {
			out = append(out, way)
		}
	}
	return out
}

// doMessages notes how the client wishes to be written to. What she has not
// touched stays as it was said.
func doMessages(ctx context.Context, v *ownView) (string, error) {
	if err := v.t.LockClient(ctx, v.client.ID); err != nil {
		return "", err
	}
	way := v.form.Get("way")
	if !slices.ContainsFunc(v.ownWays(), func(o pages.Option) bool { return o.ID == way }) {
		return "", wrongForm("way", "wrong_way")
	}
	var f scheduling.Faults
	language := v.form.Get("language")
	if language != "" {
		if language = languageOf(&f, "language", language); len(f) > 0 {
			return "", wrongForm("language", "wrong_language")
		}
	}
	w, err := v.t.MessageWishOf(ctx, v.client.ID)
	if err != nil {
		return "", err
	}
	if _, err = v.t.SaveMessageWish(ctx, store.MessageWish{Client: w.Client, Language: language, Voice: v.form.Get("voice") == "true", Version: w.Version}, v.choices(w)); err != nil {
		return "", err
	}
	return "/own/messages?done=saved", v.setWay(ctx, way)
}

// choices are what has changed in the boxes of the form.
func (v *ownView) choices(w store.MessageWish) []store.MessageChoice {
	said := store.MessageChoice{Guardian: v.to.minor, How: "page", At: v.now}
	var out []store.MessageChoice
	was := v.stoppedTopics(w)
	for _, topic := range ownTopics {
		stop := slices.Contains(v.form["stop"], topic)
		if stop == slices.Contains(was, topic) {
			continue
		}
		for _, k := range clientKinds {
			if k.topic == topic {
				c := said
				c.Kind, c.Wanted = string(k.kind), new(!stop)
				out = append(out, c)
			}
		}
	}
	ways := v.stoppedWays(w)
	for _, way := range []string{wayMail, wayText} {
		if stop := slices.Contains(v.form["stop_way"], way); stop != slices.Contains(ways, way) {
			c := said
			c.Way, c.Wanted = way, new(!stop)
			out = append(out, c)
		}
	}
	return out
}

// setWay notes the preferred way, of the guardian of a minor or of the client.
func (v *ownView) setWay(ctx context.Context, way string) error {
	if way == v.to.by {
		return nil
	}
	if v.to.minor {
		m, err := v.t.MinorOf(ctx, v.client.ID)
		if err != nil {
			return err
		}
		m.ContactBy = way
		if _, err = v.t.SetMinor(ctx, m, store.MinorChange{Made: v.now, NotedBy: string(clientRole)}); err != nil {
			return err
		}
	} else {
		c := v.client
		c.ContactBy = way
		if _, err := v.t.UpdateClient(ctx, c); err != nil {
			return err
		}
	}
	if v.to.by == wayNotAsked {
		return v.t.SendAnew(ctx, v.client.ID, nobodyAsked)
	}
	return nil
}
