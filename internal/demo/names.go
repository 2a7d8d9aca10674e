package demo

import "strings"

// naming is how names are made in one script. All names are put together by chance; any likeness to a person is chance, too.
type naming struct {
	given, family []string
	language      string
	familyFirst   bool
}

func words(s string) []string { return strings.Fields(s) }

// namings are the scripts in which patients write their names; latin ones come more often.
func namings() []naming {
	latin := naming{language: "en",
		given: words("Alva Bruna Cato Dagny Edda Fenna Gerrit Hilde Ilse Joris Katla Lorcan Mirel Nessa Odalys Perrin Quilla Ragna Senna Tove Ulla " +
			"Vesna Wybo Ysolt Zuzka Anouk Bastian Célie Dóra Élodie Frøya Günnar Hélène Íris"),
		family: words("Abelhorn Brackwater Carrowick Dunmarsh Eskerby Fenwarden Gullhaven Hartmoor Inchbrae Jernvik Kestrelsen Lindqvarn Marrowby " +
			"Nethercote Oxenfurth Pellworm Quarrowdale Rookhope Sandvær Thornquay Undalen Varnholt Wexcombe Ystrom Zandwyk Ågotnes Öhrling Żabiński"),
	}
	return []naming{
		latin, latin, latin, latin,
		greek(), cyrillic(),
		{given: words("美波 千帆 凪 汐里 渚"), family: words("島崎 磯村 浜津 潮見 岬"), language: "ja", familyFirst: true},
		{given: words("बेला किरण लीला मीरा नदी तारा"), family: words("सागरे तटकर द्वीपे नौकर"), language: "hi"},
		{given: words("آمال جنى ريم سماء ليلى"), family: words("البحري الساحلي المرفأ الموج"), language: "ar"},
	}
}

func greek() naming {
	return naming{given: words("Αλίκη Δανάη Ελπίδα Ιόλη Μυρτώ Νεφέλη Ορέστης Φοίβος"), language: "el",
		family: words("Ακτάρη Βορεινού Θαλασσινού Καραβίτη Νησιώτη Πορθμέα")}
}

func cyrillic() naming {
	return naming{given: words("Ада Богдана Вера Злата Мира Рада Тихон Яна"), language: "uk",
		family: words("Зоряна Кленко Морошко Островко Полинь Снігур")}
}

// alertText is an alert as the staff write it.
type alertText struct {
	kind      int32
	condition string
	text      string
}

func alertTexts() []alertText {
	return []alertText{
		{6, "", "faints at the sight of needles: treat lying down"},
		{3, "anticoagulant", "takes an anticoagulant: bruises, press longer"},
		{1, "", "allergic to adhesive plasters"},
		{3, "aminoglycosides", "had gentamicin in hospital this year: ask before treating"},
		{2, "dry_eye", "dry eyes: keep away from the lower lid"},
		{4, "", "drooping lid on the left for three weeks after an earlier treatment"},
	}
}

func (n naming) full(d *dice) (full, family, given string) {
	given, family = pick(d, n.given), pick(d, n.family)
	if n.familyFirst {
		return family + given, family, given
	}
	return given + " " + family, family, given
}
