package chairtime

import "chairblock/scheduling"

// Setting describes one constant of the model: what it is called in a salon's
// settings, what it means, and between which values it may be set.
type Setting struct {
	Name     string // snake_case, with the unit where it has one
	Label    string // plain words
	Unit     string // "" for plain numbers
	Default  float64
	Min, Max float64
	Whole    bool // only whole numbers
	// Source says where default and range come from: a publication, "derived",
	// "common practice" (no source found), "judgement" (no source, not
	// measured) or "from memory" (not checked).
	Source string
}

// List lists every setting of Settings in a fixed order.
func List() []Setting {
	out := make([]Setting, len(settingRows))
	for i := range settingRows {
		out[i] = settingRows[i].Setting
	}
	return out
}

type settingRow struct {
	Setting
	in func(*Settings) *float64
}

func (s *settingRow) rangeText() string {
	text := scheduling.Number(s.Min) + " to " + scheduling.Number(s.Max)
	if s.Unit != "" {
		text += " " + s.Unit
	}
	return text
}

var settingIndex = func() map[string]int {
	index := make(map[string]int, len(settingRows))
	for i := range settingRows {
		index[settingRows[i].Name] = i
	}
	return index
}()

var settingRows = []settingRow{
	// Hair.
	{Setting{"scalp_area_cm2", "hair-bearing scalp area", "cm²", 520, 450, 650, false, "hair-transplant clinic pages"}, func(c *Settings) *float64 { return &c.ScalpArea }},
	{Setting{"hairs_low_per_cm2", "hairs per area, little hair", "1/cm²", 140, 80, 300, false, "derived from Loussouarn et al. 2005"}, func(c *Settings) *float64 { return &c.Hairs.Low }},
	{Setting{"hairs_medium_per_cm2", "hairs per area, average amount of hair", "1/cm²", 190, 80, 300, false, "derived from Loussouarn et al. 2005"}, func(c *Settings) *float64 { return &c.Hairs.Medium }},
	{Setting{"hairs_high_per_cm2", "hairs per area, a lot of hair", "1/cm²", 240, 80, 300, false, "derived from Loussouarn et al. 2005"}, func(c *Settings) *float64 { return &c.Hairs.High }},
	{Setting{"diameter_fine_um", "diameter of a fine hair", "µm", 60, 15, 120, false, "Wolfram 2003; Kaswell 1953"}, func(c *Settings) *float64 { return &c.Diameter.Fine }},
	{Setting{"diameter_medium_um", "diameter of a medium hair", "µm", 70, 15, 120, false, "Wolfram 2003; Kaswell 1953"}, func(c *Settings) *float64 { return &c.Diameter.Medium }},
	{Setting{"diameter_coarse_um", "diameter of a coarse hair", "µm", 85, 15, 120, false, "Wolfram 2003; Kaswell 1953"}, func(c *Settings) *float64 { return &c.Diameter.Coarse }},
	{Setting{"matter_g_per_cm3", "mass per volume of hair matter", "g/cm³", 1.32, 1.3, 1.33, false, "from memory"}, func(c *Settings) *float64 { return &c.Matter }},
	{Setting{"profile_base", "mean length as a share of the length, at 0 cm", "", 0.8, 0.65, 0.95, false, "common practice"}, func(c *Settings) *float64 { return &c.ProfileBase }},
	{Setting{"profile_per_cm", "mean length as a share of the length, less per cm", "1/cm", 0.004, 0, 0.008, false, "common practice"}, func(c *Settings) *float64 { return &c.ProfilePerCM }},
	{Setting{"profile_floor", "mean length as a share of the length, least value", "", 0.45, 0.3, 0.6, false, "common practice"}, func(c *Settings) *float64 { return &c.ProfileFloor }},
	{Setting{"area_nape_share", "share of the scalp: nape", "", 0.12, 0.07, 0.17, false, "common practice"}, func(c *Settings) *float64 { return &c.NapeShare }},
	{Setting{"area_sides_share", "share of the scalp: both sides", "", 0.3, 0.25, 0.35, false, "common practice"}, func(c *Settings) *float64 { return &c.SidesShare }},
	{Setting{"area_crown_back_share", "share of the scalp: crown and back", "", 0.28, 0.23, 0.33, false, "common practice"}, func(c *Settings) *float64 { return &c.CrownBackShare }},
	{Setting{"area_front_top_share", "share of the scalp: front and top", "", 0.3, 0.25, 0.35, false, "common practice"}, func(c *Settings) *float64 { return &c.FrontTopShare }},
	{Setting{"area_hairline_share", "share of the scalp: a band along the hairline", "", 0.15, 0.05, 0.3, false, "judgement"}, func(c *Settings) *float64 { return &c.HairlineShare }},
	{Setting{"area_fringe_share", "share of the scalp: fringe", "", 0.08, 0.03, 0.15, false, "judgement"}, func(c *Settings) *float64 { return &c.FringeShare }},
	{Setting{"off_scalp_cm", "distance that the solution keeps from the scalp", "cm", 2.5, 1, 2.5, false, "common practice"}, func(c *Settings) *float64 { return &c.OffScalp }},
	{Setting{"untreated_share", "regrowth above this share of the length counts as untreated hair", "", 0.6, 0.4, 1, false, "common practice"}, func(c *Settings) *float64 { return &c.UntreatedShare }},

	// Washing, drying, talking.
	{Setting{"talk_new_minutes", "consultation, new client", "min", 15, 5, 60, false, "common practice"}, func(c *Settings) *float64 { return &c.TalkNew }},
	{Setting{"talk_returning_minutes", "consultation, returning client", "min", 8, 1, 60, false, "common practice"}, func(c *Settings) *float64 { return &c.TalkReturning }},
	{Setting{"talk_held_minutes", "longest consultation when it was held on an earlier day", "min", 15, 1, 60, false, "judgement"}, func(c *Settings) *float64 { return &c.TalkHeld }},
	{Setting{"close_minutes", "aftercare and pay", "min", 5, 1, 30, false, "common practice"}, func(c *Settings) *float64 { return &c.CloseMin }},
	{Setting{"close_at_desk", "aftercare and pay take place at the desk, the chair is not held (1 yes, 0 no)", "", 0, 0, 1, true, "judgement"}, func(c *Settings) *float64 { return &c.CloseAtDesk }},
	{Setting{"wash_base_minutes", "wash, any length", "min", 8, 2, 20, false, "common practice"}, func(c *Settings) *float64 { return &c.WashBase }},
	{Setting{"wash_per_cm_minutes", "wash, more per cm", "min/cm", 0.05, 0, 0.3, false, "common practice"}, func(c *Settings) *float64 { return &c.WashPerCM }},
	{Setting{"prep_base_minutes", "detangle and part, any hair", "min", 2, 0, 15, false, "common practice"}, func(c *Settings) *float64 { return &c.PrepBase }},
	{Setting{"prep_per_section_minutes", "detangle and part, per section", "min", 1, 0.5, 5, false, "common practice"}, func(c *Settings) *float64 { return &c.PrepPerSection }},
	{Setting{"prep_per_cm_minutes", "detangle and part, more per cm", "min/cm", 0.08, 0, 0.5, false, "common practice"}, func(c *Settings) *float64 { return &c.PrepPerCM }},
	{Setting{"protector_damaged_minutes", "protector on damaged hair", "min", 0, 0, 20, false, "judgement"}, func(c *Settings) *float64 { return &c.ProtectorDamaged }},
	{Setting{"protect_old_lengths_minutes", "shield the old lengths at a retouch", "min", 0, 0, 20, false, "judgement"}, func(c *Settings) *float64 { return &c.ProtectOldLengths }},
	{Setting{"rinse_1_base_minutes", "first rinse, any length", "min", 5, 2, 20, false, "common practice"}, func(c *Settings) *float64 { return &c.Rinse1Base }},
	{Setting{"rinse_1_per_cm_minutes", "first rinse, more per cm", "min/cm", 0.1, 0, 0.3, false, "common practice"}, func(c *Settings) *float64 { return &c.Rinse1PerCM }},
	{Setting{"rinse_2_base_minutes", "second rinse, any length", "min", 4, 2, 20, false, "common practice"}, func(c *Settings) *float64 { return &c.Rinse2Base }},
	{Setting{"rinse_2_per_cm_minutes", "second rinse, more per cm", "min/cm", 0.08, 0, 0.3, false, "common practice"}, func(c *Settings) *float64 { return &c.Rinse2PerCM }},
	{Setting{"rinse_extra_minutes", "each rinse, more for much hair", "min", 0, 0, 5, false, "judgement"}, func(c *Settings) *float64 { return &c.RinseExtra }},
	{Setting{"rinse_extra_grams", "rinse, more for much hair: for every so many grams", "g", 30, 10, 100, false, "judgement"}, func(c *Settings) *float64 { return &c.RinseExtraGrams }},
	{Setting{"rinse_extra_from_grams", "rinse, more for much hair: above so many grams", "g", 100, 0, 300, false, "judgement"}, func(c *Settings) *float64 { return &c.RinseExtraFrom }},
	{Setting{"rinse_short_minutes", "short rinse between batches", "min", 5, 2, 15, false, "judgement"}, func(c *Settings) *float64 { return &c.RinseShortBase }},
	{Setting{"water_per_gram", "water left in the hair after blotting", "g/g", 0.7, 0.5, 1.0, false, "common practice"}, func(c *Settings) *float64 { return &c.WaterPerGram }},
	{Setting{"water_porous_factor", "water in porous hair, times", "", 1.2, 1, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.WaterPorous }},
	{Setting{"dry_rate_g_per_minute", "water that the dryer drives off", "g/min", 7, 4, 10, false, "derived: 280 W, 16 % of a 1.8 kW dryer"}, func(c *Settings) *float64 { return &c.DryRate }},
	{Setting{"dry_set_up_minutes", "set-up of each drying", "min", 3, 0, 10, false, "common practice"}, func(c *Settings) *float64 { return &c.DrySetUp }},
	{Setting{"dry_before_iron_share", "dryness before the iron", "", 0.8, 0.8, 1, false, "common practice"}, func(c *Settings) *float64 { return &c.DryFraction }},
	{Setting{"dry_before_iron_damaged_share", "dryness before the iron, damaged hair", "", 0.9, 0.9, 1, false, "common practice"}, func(c *Settings) *float64 { return &c.DryFractionDamaged }},

	// Solution and neutralizer.
	{Setting{"apply_parting_low_cm", "parting for solution, little hair", "cm", 2.5, 1.5, 3, false, "common practice"}, func(c *Settings) *float64 { return &c.ApplyParting.Low }},
	{Setting{"apply_parting_medium_cm", "parting for solution, average amount of hair", "cm", 2.5, 1.5, 3, false, "common practice"}, func(c *Settings) *float64 { return &c.ApplyParting.Medium }},
	{Setting{"apply_parting_high_cm", "parting for solution, a lot of hair", "cm", 2.0, 1.5, 3, false, "common practice"}, func(c *Settings) *float64 { return &c.ApplyParting.High }},
	{Setting{"strip_width_cm", "width of a strip for solution", "cm", 10, 8, 12, false, "common practice"}, func(c *Settings) *float64 { return &c.StripWidth }},
	{Setting{"strip_untreated_seconds", "handling of a strip, untreated hair", "s", 15, 10, 35, false, "common practice"}, func(c *Settings) *float64 { return &c.StripUntreated }},
	{Setting{"strip_retouch_seconds", "handling of a strip, retouch", "s", 25, 10, 35, false, "common practice"}, func(c *Settings) *float64 { return &c.StripRetouch }},
	{Setting{"brush_on_seconds_per_cm", "brushing solution on", "s/cm", 1.5, 1, 2, false, "common practice"}, func(c *Settings) *float64 { return &c.BrushOn }},
	{Setting{"strand_work_fine", "work on fine hair, times", "", 0.9, 0.7, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.StrandWork.Fine }},
	{Setting{"strand_work_medium", "work on medium hair, times", "", 1.0, 0.7, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.StrandWork.Medium }},
	{Setting{"strand_work_coarse", "work on coarse hair, times", "", 1.15, 0.7, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.StrandWork.Coarse }},
	{Setting{"neutral_handling_seconds", "handling of a strip for neutralizer", "s", 12, 8, 20, false, "common practice"}, func(c *Settings) *float64 { return &c.NeutralHandling }},
	{Setting{"neutral_spread_seconds_per_cm", "spreading neutralizer", "s/cm", 0.8, 0.5, 1.2, false, "common practice"}, func(c *Settings) *float64 { return &c.NeutralSpread }},
	{Setting{"process_resistant_minutes", "processing, resistant hair", "min", 18, 5, 40, true, "common practice"}, func(c *Settings) *float64 { return &c.ProcessMin.Low }},
	{Setting{"process_normal_minutes", "processing, normal hair", "min", 15, 5, 40, true, "common practice"}, func(c *Settings) *float64 { return &c.ProcessMin.Normal }},
	{Setting{"process_porous_minutes", "processing, porous hair", "min", 10, 5, 40, true, "common practice"}, func(c *Settings) *float64 { return &c.ProcessMin.High }},
	{Setting{"process_second_resistant_minutes", "solution in two stages: second wait, resistant hair", "min", 8, 2, 20, true, "judgement"}, func(c *Settings) *float64 { return &c.ProcessSecondMin.Low }},
	{Setting{"process_second_normal_minutes", "solution in two stages: second wait, normal hair", "min", 6, 2, 20, true, "judgement"}, func(c *Settings) *float64 { return &c.ProcessSecondMin.Normal }},
	{Setting{"process_second_porous_minutes", "solution in two stages: second wait, porous hair", "min", 4, 2, 20, true, "judgement"}, func(c *Settings) *float64 { return &c.ProcessSecondMin.High }},
	{Setting{"ends_cm", "solution in two stages: ends left for the second, at most half of the treated length", "cm", 5, 2, 10, false, "judgement"}, func(c *Settings) *float64 { return &c.EndsCM }},
	{Setting{"check_minutes", "solution in two stages: check of a strand at the end of each wait", "min", 2, 1, 3, true, "judgement"}, func(c *Settings) *float64 { return &c.CheckMin }},
	{Setting{"dwell_minutes", "neutralizer working", "min", 5, 5, 30, true, "common practice"}, func(c *Settings) *float64 { return &c.DwellMin }},
	{Setting{"solution_ml_per_gram", "solution per gram of treated hair", "ml/g", 1.0, 0.6, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.SolutionPerGram }},
	{Setting{"solution_floor_ml", "least solution mixed", "ml", 40, 10, 100, false, "common practice"}, func(c *Settings) *float64 { return &c.SolutionFloor }},
	{Setting{"neutralizer_ml_per_gram", "neutralizer per gram of treated hair", "ml/g", 1.0, 0.6, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.NeutralizerPerGram }},
	{Setting{"neutralizer_floor_ml", "least neutralizer used", "ml", 40, 10, 100, false, "common practice"}, func(c *Settings) *float64 { return &c.NeutralizerFloor }},
	{Setting{"bowl_waste_share", "product left in the bowl", "", 0, 0, 0.5, false, "judgement"}, func(c *Settings) *float64 { return &c.BowlWaste }},
	{Setting{"pack_ml", "content of a pack of product; 0 when packs are not counted", "ml", 0, 0, 5000, false, "judgement"}, func(c *Settings) *float64 { return &c.PackML }},
	{Setting{"look_first_minutes", "first look after the first strand was wetted", "min", 10, 5, 20, false, "judgement"}, func(c *Settings) *float64 { return &c.LookFirst }},
	{Setting{"look_first_tender_minutes", "first look, porous or damaged hair", "min", 5, 3, 15, false, "judgement"}, func(c *Settings) *float64 { return &c.LookFirstTender }},
	{Setting{"look_every_minutes", "further looks every", "min", 5, 3, 15, false, "judgement"}, func(c *Settings) *float64 { return &c.LookEvery }},
	{Setting{"look_minutes", "length of a look while still applying; 0 adds nothing", "min", 0, 0, 2, false, "judgement"}, func(c *Settings) *float64 { return &c.LookMinutes }},
	{Setting{"next_look_minutes", "next look when the hair is not ready at the planned end of a wait", "min", 5, 2, 10, true, "judgement"}, func(c *Settings) *float64 { return &c.NextLook }},
	{Setting{"not_ready_share", "chance that hair is not ready at the planned end of a wait, and at each further look", "", 0, 0, 0.5, false, "judgement"}, func(c *Settings) *float64 { return &c.NotReadyShare }},
	{Setting{"exposure_warn_minutes", "product on the first section: warn at", "min", 40, 10, 60, false, "judgement"}, func(c *Settings) *float64 { return &c.ExposureWarn }},
	{Setting{"exposure_refuse_minutes", "product on the first section: refuse at", "min", 60, 10, 60, false, "judgement"}, func(c *Settings) *float64 { return &c.ExposureRefuse }},
	{Setting{"exposure_warn_tender_minutes", "product on the first section, porous or damaged hair: warn at", "min", 20, 5, 30, false, "judgement"}, func(c *Settings) *float64 { return &c.ExposureWarnTender }},
	{Setting{"exposure_refuse_tender_minutes", "product on the first section, porous or damaged hair: refuse at", "min", 30, 5, 30, false, "judgement"}, func(c *Settings) *float64 { return &c.ExposureRefuseTender }},
	{Setting{"exposure_wait_minutes", "longest wait allowed between application and rinse", "min", 0, 0, 5, false, "judgement"}, func(c *Settings) *float64 { return &c.ExposureWait }},
	{Setting{"basin_walk_minutes", "walk to the basin", "min", 1, 0, 5, false, "judgement"}, func(c *Settings) *float64 { return &c.BasinWalk }},
	{Setting{"patch_test_hours", "skin test before the visit", "h", 48, 24, 96, false, "common practice"}, func(c *Settings) *float64 { return &c.PatchTestHours }},

	// Iron.
	{Setting{"iron_parting_low_cm", "parting for the iron, little hair", "cm", 1.25, 0.6, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.IronParting.Low }},
	{Setting{"iron_parting_medium_cm", "parting for the iron, average amount of hair", "cm", 1.0, 0.6, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.IronParting.Medium }},
	{Setting{"iron_parting_high_cm", "parting for the iron, a lot of hair", "cm", 0.85, 0.6, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.IronParting.High }},
	{Setting{"panel_width_cm", "width of a panel", "cm", 6, 5, 7, false, "common practice"}, func(c *Settings) *float64 { return &c.PanelWidth }},
	{Setting{"panel_handling_seconds", "handling of a panel", "s", 20, 15, 30, false, "common practice"}, func(c *Settings) *float64 { return &c.PanelHandling }},
	{Setting{"press_fine_seconds", "press, fine hair", "s", 2.0, 1, 15, false, "common practice"}, func(c *Settings) *float64 { return &c.Press.Fine }},
	{Setting{"press_medium_seconds", "press, medium hair", "s", 2.5, 1, 15, false, "common practice"}, func(c *Settings) *float64 { return &c.Press.Medium }},
	{Setting{"press_coarse_seconds", "press, coarse hair", "s", 3.0, 1, 15, false, "common practice"}, func(c *Settings) *float64 { return &c.Press.Coarse }},
	{Setting{"plate_overlap_share", "overlap of neighbouring presses", "", 0.1, 0, 0.2, false, "common practice"}, func(c *Settings) *float64 { return &c.PlateOverlap }},
	{Setting{"retouch_light_pass_seconds", "light pass over the old lengths of a panel", "s", 5, 0, 20, false, "common practice"}, func(c *Settings) *float64 { return &c.RetouchLightPass }},
	{Setting{"retouch_overlap_cm", "old hair ironed beyond the regrowth", "cm", 5, 0, 10, false, "common practice"}, func(c *Settings) *float64 { return &c.RetouchOverlap }},
	{Setting{"iron_max_celsius", "iron: refuse above", "°C", 180, 100, 180, false, "salon trade page; J Cosmet Sci 62(2) 2011"}, func(c *Settings) *float64 { return &c.IronMax }},
	{Setting{"iron_max_damaged_celsius", "iron on damaged hair: warn above", "°C", 160, 100, 180, false, "common practice"}, func(c *Settings) *float64 { return &c.IronMaxDamaged }},
	{Setting{"press_warn_seconds", "press: warn above", "s", 5, 2, 15, false, "common practice"}, func(c *Settings) *float64 { return &c.PressWarn }},
	{Setting{"contact_refuse_seconds", "contact of the iron at one spot: refuse above", "s", 30, 5, 30, false, "common practice"}, func(c *Settings) *float64 { return &c.ContactRefuse }},
	{Setting{"finish_parting_cm", "parting of the finish-iron", "cm", 2.5, 1.5, 4, false, "common practice"}, func(c *Settings) *float64 { return &c.FinishParting }},
	{Setting{"finish_width_cm", "width of a finish panel", "cm", 8, 5, 10, false, "common practice"}, func(c *Settings) *float64 { return &c.FinishWidth }},
	{Setting{"finish_handling_seconds", "handling of a finish panel", "s", 15, 5, 40, false, "common practice"}, func(c *Settings) *float64 { return &c.FinishHandling }},
	{Setting{"finish_seconds_per_cm", "finish-iron", "s/cm", 0.35, 0.1, 1, false, "common practice"}, func(c *Settings) *float64 { return &c.FinishPerCM }},

	// Care, curl, hands.
	{Setting{"care_factor", "damaged hair: applying and ironing, times", "", 1.1, 1, 1.5, false, "common practice"}, func(c *Settings) *float64 { return &c.CareMain }},
	{Setting{"care_other_factor", "damaged hair: parting, rinses and finish, times", "", 1, 1, 1.5, false, "judgement"}, func(c *Settings) *float64 { return &c.CareOther }},
	{Setting{"curl_straight_factor", "straight hair: parting, first drying and iron, times", "", 1, 1, 2, false, "judgement"}, func(c *Settings) *float64 { return &c.CurlWork.Straight }},
	{Setting{"curl_wavy_factor", "wavy hair: parting, first drying and iron, times", "", 1, 1, 2, false, "judgement"}, func(c *Settings) *float64 { return &c.CurlWork.Wavy }},
	{Setting{"curl_curly_factor", "curly hair: parting, first drying and iron, times", "", 1, 1, 2, false, "judgement"}, func(c *Settings) *float64 { return &c.CurlWork.Curly }},
	{Setting{"curl_coily_factor", "coily hair: parting, first drying and iron, times", "", 1, 1, 2, false, "judgement"}, func(c *Settings) *float64 { return &c.CurlWork.Coily }},
	{Setting{"shrinkage_wavy_share", "wavy hair: how much shorter it hangs than when stretched", "", 0.15, 0.1, 0.2, false, "salon trade pages"}, func(c *Settings) *float64 { return &c.Shrinkage.Wavy }},
	{Setting{"shrinkage_curly_share", "curly hair: the same", "", 0.375, 0.25, 0.5, false, "salon trade pages"}, func(c *Settings) *float64 { return &c.Shrinkage.Curly }},
	{Setting{"shrinkage_coily_share", "coily hair: the same", "", 0.625, 0.5, 0.75, false, "salon trade pages"}, func(c *Settings) *float64 { return &c.Shrinkage.Coily }},
	{Setting{"pair_factor", "a second pair of hands divides shared work by", "", 2.0, 1.5, 2.0, false, "derived; lower values are judgement"}, func(c *Settings) *float64 { return &c.PairFactor }},

	// Spread and booking.
	{Setting{"spread_talk", "spread of the consultation", "", 0.3, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Talk }},
	{Setting{"spread_wash", "spread of the wash", "", 0.2, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Wash }},
	{Setting{"spread_prep", "spread of detangling and parting", "", 0.25, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Prep }},
	{Setting{"spread_apply", "spread of applying solution", "", 0.2, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Apply }},
	{Setting{"spread_rinse", "spread of the rinses", "", 0.2, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Rinse }},
	{Setting{"spread_dry", "spread of the dryings", "", 0.25, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Dry }},
	{Setting{"spread_iron", "spread of ironing", "", 0.25, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Iron }},
	{Setting{"spread_neutral", "spread of applying neutralizer", "", 0.2, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Neutral }},
	{Setting{"spread_finish", "spread of the finish-iron", "", 0.25, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Finish }},
	{Setting{"spread_close", "spread of aftercare and pay", "", 0.3, 0.02, 0.8, false, "common practice"}, func(c *Settings) *float64 { return &c.Spread.Close }},
	{Setting{"correlation", "how far the steps of one visit are slow or quick together", "", 0.5, 0, 1, false, "common practice"}, func(c *Settings) *float64 { return &c.Correlation }},
	{Setting{"quantile", "share of visits that end within the booked time", "", 0.8, 0.5, 0.99, false, "common practice"}, func(c *Settings) *float64 { return &c.Quantile }},
	{Setting{"block_step_minutes", "booked time is a multiple of", "min", 15, 1, 60, true, "common practice"}, func(c *Settings) *float64 { return &c.BlockStep }},

	// Telephone.
	{Setting{"phone_strand_fine_weight", "callers with fine hair", "", 0.25, 0, 1, false, "judgement"}, func(c *Settings) *float64 { return &c.StrandWeight.Fine }},
	{Setting{"phone_strand_medium_weight", "callers with medium hair", "", 0.5, 0, 1, false, "judgement"}, func(c *Settings) *float64 { return &c.StrandWeight.Medium }},
	{Setting{"phone_strand_coarse_weight", "callers with coarse hair", "", 0.25, 0, 1, false, "judgement"}, func(c *Settings) *float64 { return &c.StrandWeight.Coarse }},
	{Setting{"phone_porosity_resistant_weight", "callers with resistant hair", "", 0.2, 0, 1, false, "judgement"}, func(c *Settings) *float64 { return &c.PorosityWeight.Low }},
	{Setting{"phone_porosity_normal_weight", "callers with normal hair", "", 0.55, 0, 1, false, "judgement"}, func(c *Settings) *float64 { return &c.PorosityWeight.Normal }},
	{Setting{"phone_porosity_porous_weight", "callers with porous hair", "", 0.25, 0, 1, false, "judgement"}, func(c *Settings) *float64 { return &c.PorosityWeight.High }},
	{Setting{"phone_density_low_weight", "callers with little hair, when not said", "", 0.25, 0, 1, false, "judgement"}, func(c *Settings) *float64 { return &c.DensityWeight.Low }},
	{Setting{"phone_density_medium_weight", "callers with an average amount, when not said", "", 0.5, 0, 1, false, "judgement"}, func(c *Settings) *float64 { return &c.DensityWeight.Medium }},
	{Setting{"phone_density_high_weight", "callers with a lot of hair, when not said", "", 0.25, 0, 1, false, "judgement"}, func(c *Settings) *float64 { return &c.DensityWeight.High }},
	{Setting{"phone_grace_minutes", "overshoot that is not worth another step of booked time", "min", 2, 0, 5, false, "judgement"}, func(c *Settings) *float64 { return &c.PhoneGrace }},
	{Setting{"consultation_minutes", "consultation on its own", "min", 15, 5, 120, true, "common practice"}, func(c *Settings) *float64 { return &c.ConsultationMinutes }},
	{Setting{"consultation_strand_test_minutes", "consultation with a strand test", "min", 45, 10, 180, true, "common practice"}, func(c *Settings) *float64 { return &c.ConsultationStrandTest }},
}
