// Package starter holds texts to begin with: a questionnaire before treatment, and consent texts for the upper, the middle and the lower face, the neck and
// photographs, in plain words of our own, in English.
//
// Use: Questionnaire and ConsentTexts answer new records, which are drafts. Nobody may answer or sign a draft. The clinic's medical lead reads them,
// changes what does not fit the country and the clinic, and publishes them as her own.
//
// What it promises: every draft fits the schema and, as it stands, what publishing asks; every question's condition is one of the built-in formulary, and
// every condition that there holds a treatment, or cautions of it, is asked about. No text is advice of ours: what is said is common practice, no source,
// and where a label says it the formulary cites it. The package is pure: ids come from the caller.
package starter
