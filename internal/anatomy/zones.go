package anatomy

// Zones lists the built-in zones. Those that the built-in formulary carries have its codes and figures, which a test compares. Sources are in
// testdata/anatomy/sources.csv. Where a label's figure was only in memory, its zone is a note.
func Zones() []Zone {
	var zones []Zone
	zones = append(zones, upperZones()...)
	zones = append(zones, mouthCornerZones()...)
	zones = append(zones, chinZones()...)
	zones = append(zones, lipZones()...)
	return append(zones, masseterZones()...)
}

func read(remark string, sources ...string) Provenance {
	return Provenance{Obtained: Read, Sources: sources, Remark: remark}
}

func trade(remark string, sources ...string) Provenance {
	return Provenance{Obtained: Trade, Sources: sources, Remark: remark}
}

func memory(remark string) Provenance { return Provenance{Obtained: Memory, Remark: remark} }

func practice(remark string) Provenance { return Provenance{Obtained: CommonPractice, Remark: remark} }

func upperZones() []Zone {
	return []Zone{
		{Code: "glabella_above_brow", Target: "corrugator", Frame: FrameBrow, Landmark: "central_eyebrow", Direction: Above, Least: At(10 * Millimetre),
			Level: Caution, Market: "US", Provenance: Provenance{Obtained: ReadCopy, Sources: []string{"S06"},
				Remark: "onabotulinumtoxinA; stated of glabellar injections, read here of the corrugator"}},
		{Code: "corrugator_above_ridge", Target: "corrugator", Frame: FrameBrow, Landmark: "supraorbital_ridge", Direction: Above,
			Least: At(10 * Millimetre),
			Level: Note, Market: "US", Provenance: memory("lateral corrugator injections")},
		{Code: "frontalis_above_rim", Target: "frontalis", Frame: FrameOrbit, Landmark: "orbital_rim", Direction: Above, Least: At(20 * Millimetre),
			Level: Caution, Market: "EU/UK", Provenance: read("incobotulinumtoxinA", "S16")},
		{Code: "frontalis_convergence_men", Target: "frontalis", Frame: FrameForehead, Landmark: "convergence_line_men", Direction: Above, Least: At(0),
			Level: Note, Provenance: Provenance{Obtained: Read, Sources: []string{"S67"}, Section: "abstract",
				Remark: "60.9 % of the forehead's height, SD 10.2"}},
		{Code: "frontalis_convergence_women", Target: "frontalis", Frame: FrameForehead, Landmark: "convergence_line_women", Direction: Above, Least: At(0),
			Level: Note, Provenance: Provenance{Obtained: Read, Sources: []string{"S67"}, Section: "abstract",
				Remark: "60.6 % of the forehead's height, SD 9.6"}},
		{Code: "lateral_canthus_policy", Target: "orbicularis_oculi", Frame: FrameOrbit, Landmark: "lateral_canthus", Direction: Lateral,
			Least: At(10 * Millimetre), Most: At(15 * Millimetre), Level: Note,
			Provenance: trade("a clinic's policy; disagrees with the figure of 15 to 20 mm", "S68"), Disagrees: []string{"lateral_canthus_us",
				"lateral_canthus_eu"}},
		{Code: "lateral_canthus_us", Target: "orbicularis_oculi", Frame: FrameOrbit, Landmark: "lateral_canthus", Direction: Lateral,
			Least: At(15 * Millimetre), Most: At(20 * Millimetre), Level: Note, Market: "US",
			Provenance: memory("and temporal to the orbital rim"), Disagrees: []string{"lateral_canthus_policy", "lateral_canthus_eu"}},
		{Code: "lateral_canthus_eu", Target: "orbicularis_oculi", Frame: FrameOrbit, Landmark: "orbital_rim", Direction: Lateral,
			Least: At(10 * Millimetre), Level: Note, Market: "EU/UK",
			Provenance: memory("about 10 mm; another landmark than the others"), Disagrees: []string{"lateral_canthus_policy", "lateral_canthus_us"}},
	}
}

func mouthCornerZones() []Zone {
	return []Zone{
		{Code: "depressor_anguli_oris_below_corner", Target: "depressor_anguli_oris", Frame: FrameMouth, Landmark: "mouth_corner", Direction: Below,
			Least: At(2 * Millimetre), Level: Note,
			Provenance: trade("about 2 mm, the first of three; lateral and superficial, medially lies the depressor of the lower lip", "S52")},
		{Code: "depressor_anguli_oris_lateral", Target: "depressor_anguli_oris", Frame: FrameMouth, Landmark: "mouth_corner", Direction: Lateral,
			Least: At(10 * Millimetre), Level: Note, Provenance: memory("common teaching, no source read")},
		{Code: "depressor_anguli_oris_finger_width", Target: "depressor_anguli_oris", Frame: FrameMouth, Landmark: "mandibular_border", Direction: Above,
			Least: At(12 * Millimetre), Most: At(15 * Millimetre), Level: Note, Provenance: Provenance{Obtained: Read, Sources: []string{"S50"},
				Section: "caption of figure 3", Remark: "a finger's width above the border: about 15 mm (index finger) or 12 mm (little finger)"}},
	}
}

func chinZones() []Zone {
	return []Zone{
		{Code: "mentalis_off_midline", Target: "mentalis", Frame: FrameChin, Landmark: "midline", Direction: From, Least: At(5 * Millimetre),
			Most: At(10 * Millimetre), Level: Note,
			Provenance: Provenance{Obtained: Read, Sources: []string{"S69"}, Section: "abstract", Remark: "where the muscle lies"}},
		{Code: "mentalis_below_line", Target: "mentalis", Frame: FrameChin, Landmark: "mouth_corner_line", Direction: Below, Least: At(20 * Millimetre),
			Most: At(30 * Millimetre), Level: Note, Provenance: Provenance{Obtained: Memory,
				Remark: "where the muscle lies; the figures were read (S69, abstract), but the copy was cut off before the line's name: that it joins the mouth corners is from memory"}},
		{Code: "mentalis_below_lip", Target: "mentalis", Frame: FrameChin, Landmark: "lower_vermilion", Direction: Below, Least: At(10 * Millimetre),
			Level: Note, Provenance: memory("common teaching, no source read")},
	}
}

func lipZones() []Zone {
	return []Zone{
		{Code: "orbicularis_oris_above_vermilion", Target: "orbicularis_oris", Frame: FrameMouth, Landmark: "vermilion", Direction: Above,
			Least: At(2 * Millimetre), Level: Note, Provenance: Provenance{Obtained: ReadCopy, Sources: []string{"S53"}, Remark: "about 2 mm"}},
		{Code: "orbicularis_oris_corner_10", Target: "orbicularis_oris", Frame: FrameMouth, Landmark: "mouth_corner", Direction: Medial,
			Least: At(10 * Millimetre), Level: Note, Provenance: practice("lip lines; a published figure is 15 mm"),
			Disagrees: []string{"orbicularis_oris_corner_15"}},
		{Code: "orbicularis_oris_corner_15", Target: "orbicularis_oris", Frame: FrameMouth, Landmark: "mouth_corner", Direction: Medial,
			Least: At(15 * Millimetre), Level: Caution, Provenance: Provenance{Obtained: Read, Sources: []string{"S109"}, Section: "first part of the report",
				Remark: "closer risks the depressor anguli oris, zygomaticus major and risorius; common practice says 10 mm"},
			Disagrees: []string{"orbicularis_oris_corner_10"}},
		{Code: "orbicularis_oris_midline", Target: "orbicularis_oris", Frame: FrameMouth, Landmark: "midline", Direction: From, Least: At(5 * Millimetre),
			Level: Caution, Provenance: practice("keeps off the philtrum")},
	}
}

func masseterZones() []Zone {
	return []Zone{
		{Code: "masseter_anterior_border", Target: "masseter", Frame: FrameCheek, Landmark: "masseter_anterior_border", Direction: Inside,
			Least: At(10 * Millimetre), Level: Note,
			Provenance: memory("below the line from tragus to mouth corner, above the border of the mandible")},
		{Code: "masseter_below_line", Target: "masseter", Frame: FrameCheek, Landmark: "tragus_corner_line", Direction: Below, Least: At(0), Level: Note,
			Provenance: memory("common teaching, no source read")},
		{Code: "masseter_above_border", Target: "masseter", Frame: FrameCheek, Landmark: "mandibular_border", Direction: Above, Least: At(0), Level: Note,
			Provenance: memory("common teaching, no source read")},
	}
}
