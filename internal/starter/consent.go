package starter

import (
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

type paragraph struct{ heading, text string }

type risk struct{ code, text string }

// text is a draft before it is a record.
type text struct {
	series, title string
	regions       []string
	purposes      []string
	thinkingHours int32
	paragraphs    []paragraph
	risks         []risk
}

// whatIsDone is the paragraphs that every text on treatment has.
func whatIsDone(where string) []paragraph {
	return []paragraph{
		{"What is done", "A small amount of botulinum toxin is put into chosen muscles of " + where + " with a fine needle. It weakens them for a time, so that the " +
			"lines that they make become softer. It does not fill, lift or tighten."},
		{"What you may expect", "A change is seen within days and judged at about two weeks. The effect wears off within months, and the treatment would then have " +
			"to be repeated if you want to keep it. How strong it is and how long it lasts differs from person to person. It cannot be taken back: there is nothing " +
			"that ends it early."},
		{"What else there is", "You may leave it as it is. There are other treatments, with other risks, which we will tell you about if you ask."},
		{"Your part", "Tell us about diseases, medicines, pregnancy and earlier treatments, here and elsewhere. Come to the review. Tell us early if " +
			"something is not as you expected."},
		{"Your choice", "Nobody needs this treatment. You may ask anything, take the time to think, bring someone with you, and say no at any time, also " +
			"after you have signed and also while it is going on. You need not give a reason."},
	}
}

// everywhere is the risks that every text on treatment names.
func everywhere() []risk {
	return []risk{
		{"at_the_place", "Where the needle goes in it may hurt, bleed, bruise, swell, itch or become infected. A headache may follow. It passes within days."},
		{"too_little_or_too_much", "The effect may be less, or more, than you wanted. What is too little can be added to at the review; what is too much cannot be " +
			"taken back and wears off."},
		{"uneven", "The two sides may come out differently. No face is quite even to begin with."},
		{"allergy", "A severe allergic reaction is rare and needs help at once."},
		{"spread", "Hours to weeks later the effect may reach beyond the place: trouble swallowing, speaking or breathing, double sight or weakness. It is rare " +
			"and can be dangerous. Get emergency help at once."},
		{"stops_working", "The body may come to resist the medicine, so that it works less or not at all."},
		{"wears_off", "The effect wears off within months."},
		{"not_for_you", "Some effects are not known yet, and your result may differ from those that you have seen."},
	}
}

func texts() []text {
	return []text{
		{series: "upper_face", title: "Treatment of the upper face with botulinum toxin", regions: []string{"upper_face"}, thinkingHours: 24,
			paragraphs: whatIsDone("the forehead, between the brows or beside the eyes"), risks: append([]risk{
				{"drooping_lid", "A lid may hang for some weeks, and may hinder your sight."},
				{"brow", "A brow may sink or rise at its end, or the two may stand differently."},
				{"eye", "The eye may be dry, may water, or may close less well. You may see double."},
			}, everywhere()...)},
		{series: "mid_face", title: "Treatment of the nose and the gums' smile with botulinum toxin", regions: []string{"mid_face"}, thinkingHours: 24,
			paragraphs: whatIsDone("the nose or the upper lip's lifters"), risks: append([]risk{
				{"crooked_mouth", "The upper lip or the smile may become crooked, long or stiff. It may not be correctable, and wears off."},
				{"weak_lips", "Speaking, drinking and closing the lips may be harder for weeks."},
			}, everywhere()...)},
		{series: "lower_face", title: "Treatment around the mouth and the chin with botulinum toxin", regions: []string{"lower_face"}, thinkingHours: 24,
			paragraphs: append([]paragraph{{"Why the mouth is different", "The muscles around the mouth are small and lie close together. Doses here are very small, " +
				"and a millimetre counts. More goes wrong here than in the upper face, and it is seen when you speak, eat and smile."}},
				whatIsDone("the lips, the corners of the mouth or the chin")...), risks: append([]risk{
				{"crooked_mouth", "Your mouth or your smile may become crooked. It happens when one side gets too little, or when the effect spreads to a muscle beside it."},
				{"may_not_be_correctable", "A crooked mouth may not be correctable: adding to the other side may help, or may weaken the mouth further. Then only " +
					"waiting helps."},
				{"weak_lips", "Your lips may be weak for weeks: drinking through a straw, whistling, some sounds, spitting, kissing or putting on lipstick may be harder, " +
					"and food or saliva may run out."},
				{"biting", "You may bite your lip or your cheek, or feel the mouth differently."},
				{"chewing", "Chewing may be weaker where the muscles of the jaw are treated, and the face may look narrower."},
			}, everywhere()...)},
		{series: "neck", title: "Treatment of the neck with botulinum toxin", regions: []string{"neck"}, thinkingHours: 24, paragraphs: whatIsDone("the neck"),
			risks: append([]risk{
				{"swallowing", "Swallowing may be harder, your voice may change, and the head may be harder to lift. It is more likely here than elsewhere."},
				{"crooked_mouth", "The mouth may become crooked where the effect spreads to its corner."},
			}, everywhere()...)},
		{series: "photographs", title: "Photographs", purposes: []string{"record", "teaching", "publication"}, paragraphs: []paragraph{
			{"For your record", "Photographs from before and after show what has changed. They are part of your record, are kept as safely, and are seen by those who " +
				"treat you."},
			{"For teaching or publication", "You may allow, one by one and apart from your treatment, that they are shown in teaching or published. You may be recognised. " +
				"What has been published cannot be fetched back from everywhere."},
			{"Your choice", "You may say no to each, and take back each later. It changes nothing in how we treat you."},
		}},
	}
}

// ConsentTexts are new drafts of the consent texts.
func ConsentTexts(newID func() string) []*chartv1.ConsentText {
	var out []*chartv1.ConsentText
	for _, x := range texts() {
		m := &chartv1.ConsentText{
			Id: newID(), Series: &x.series, Version: proto.String(Version), Language: proto.String("en"), Title: &x.title,
			Scope: &chartv1.ConsentScope{Regions: x.regions, PhotoPurposes: x.purposes},
		}
		if x.thinkingHours > 0 {
			m.CoolingOffHours = &x.thinkingHours
		}
		for i, p := range x.paragraphs {
			m.Paragraphs = append(m.Paragraphs, &chartv1.ConsentParagraph{Id: newID(), Body: &chartv1.ParagraphText{
				Position: int32(i+1) * 10, Heading: p.heading, Text: p.text,
			}})
		}
		for i, r := range x.risks {
			m.Risks = append(m.Risks, &chartv1.NamedRisk{Id: newID(), Risk: &chartv1.RiskText{Code: r.code, Text: r.text, Position: int32(i+1) * 10}})
		}
		out = append(out, m)
	}
	return out
}
