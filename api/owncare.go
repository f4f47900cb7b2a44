package api

import (
	"context"
	"time"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// careUntil adds until when hair stays dry and untied after a visit, counted down.
func (d *ownDoc) careUntil(x store.Visit) {
	end := realEnd(x)
	dry, tie := d.n.keepDryUntil(end), d.n.untiedUntil(end)
	if dry.Equal(tie) {
		d.until("dry_untied_until", "over_both", dry)
	} else {
		d.until("dry_until", "over_dry", dry)
		d.until("untied_until", "over_untied", tie)
	}
	if change := d.words.Change(end, laterOf(dry, tie)); change != "" && d.now.Before(laterOf(dry, tie)) {
		d.add(pages.OwnBlock{Text: pages.Plain(change), Class: "soft"})
	}
}

func (d *ownDoc) until(name, over string, at time.Time) {
	d.add(pages.OwnBlock{Until: &pages.OwnUntil{At: at, Words: d.text(name, notify.Says{"until": at}), Done: !d.now.Before(at),
		Left: d.text("left", notify.Says{"left": notify.Said("%")}), Over: d.text(over, nil)}})
}

// careInShort is what the first page says of the hours after the last treatment.
func (d *ownDoc) careInShort(x store.Visit) {
	d.head("care_head")
	if !needsAftercare(x) {
		d.say("care", "care_held", notify.Says{"phone": reach(d.n.row)})
		return
	}
	d.careUntil(x)
	d.link("/own/visits/"+x.ID+"/care", "care_link", true)
}

// ownCare is everything about the hours after a visit.
func ownCare(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("", "title_care")
	x, err := v.visit(ctx)
	if err != nil {
		return d.page, err
	}
	over := x.State == store.Finished || x.State == store.StoppedEarly
	switch {
	case !treats(x):
		d.say("big", "care_none", nil)
		return d.end(), nil
	case !over:
		d.say("big", "care_to_come", nil)
		d.link("/own/visits/"+x.ID, "title_visit", false)
		return d.end(), nil
	case x.FollowUpHeld:
		d.say("care", "care_held", notify.Says{"phone": reach(d.n.row)})
		d.call()
		return d.end(), nil
	}
	d.careUntil(x)
	end := realEnd(x)
	if d.now.Before(laterOf(d.n.keepDryUntil(end), d.n.untiedUntil(end))) {
		d.head("care_keep")
		d.items("care_water", "care_ties", "care_sleep")
		d.head("care_wet")
		d.items("care_wet_rub", "care_wet_dry", "care_wet_bend")
	} else {
		d.say("big", "care_over", nil)
		d.head("care_first_wash")
		d.items("care_wash_mild", "care_wash_towel")
	}
	d.add(pages.OwnBlock{Text: d.text("care_danger", notify.Says{"emergency": notify.Emergency(d.n.row.Emergency)}), Class: "care"})
	d.head("care_call")
	d.items("care_call_burn", "care_call_bend")
	d.call()
	err = d.firstWash(ctx, x)
	return d.end(), err
}

// firstWash says on which days the look after the first wash is, or when it is
// booked.
func (d *ownDoc) firstWash(ctx context.Context, x store.Visit) error {
	list, err := d.t.VisitsInView(ctx, d.client.ID)
	if err != nil {
		return err
	}
	for _, y := range list {
		if y.Parent != nil && *y.Parent == x.ID && *y.ParentAs == store.FirstWashCheck && y.State == store.Booked {
			d.head("first_wash")
			d.say("", "first_wash_booked", notify.Says{"when": notify.Span{From: y.Start, To: y.End}})
			return nil
		}
	}
	last := scheduling.CivilDate(realEnd(x), d.n.loc)
	from, to := last.Add(firstWashFrom), last.Add(firstWashTo)
	if dry := scheduling.CivilDate(d.n.keepDryUntil(realEnd(x)), d.n.loc); from.Before(dry) {
		from = dry
	}
	if !to.Before(d.n.today(d.now)) {
		d.head("first_wash")
		d.say("", "first_wash_between", notify.Says{"from": from, "to": to, "phone": reach(d.n.row)})
	}
	return nil
}
