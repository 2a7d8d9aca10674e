package export

// The parts and resources of FHIR R4 that are written, with the elements that are used of them. The order of fields is the order in the file.

type resource interface{ head() *header }

// header is what every resource begins with.
type header struct {
	ResourceType string       `json:"resourceType"`
	ID           string       `json:"id"`
	Extension    []*extension `json:"extension,omitempty"`
}

func (h *header) head() *header { return h }

// number is a decimal as it stands in the file. It is text so that no binary fraction comes between.
type number string

// MarshalJSON writes the digits as a JSON number.
func (n number) MarshalJSON() ([]byte, error) { return []byte(n), nil }

type coding struct {
	System  string `json:"system,omitempty"`
	Code    string `json:"code,omitempty"`
	Display string `json:"display,omitempty"`
}

type concept struct {
	Coding []coding `json:"coding,omitempty"`
	Text   string   `json:"text,omitempty"`
}

type quantity struct {
	Value  number `json:"value,omitempty"`
	Unit   string `json:"unit,omitempty"`
	System string `json:"system,omitempty"`
	Code   string `json:"code,omitempty"`
}

type ratio struct {
	Numerator   *quantity `json:"numerator,omitempty"`
	Denominator *quantity `json:"denominator,omitempty"`
}

type identifier struct {
	System   string     `json:"system,omitempty"`
	Value    string     `json:"value,omitempty"`
	Assigner *reference `json:"assigner,omitempty"`
}

// reference is resolved when everything is made: then exactly one of Reference and Identifier is set, or Display alone.
type reference struct {
	Reference  string      `json:"reference,omitempty"`
	Type       string      `json:"type,omitempty"`
	Identifier *identifier `json:"identifier,omitempty"`
	Display    string      `json:"display,omitempty"`

	id     string
	record key
}

type period struct {
	Start string `json:"start,omitempty"`
	End   string `json:"end,omitempty"`
}

type annotation struct {
	Author *reference `json:"authorReference,omitempty"`
	Time   string     `json:"time,omitempty"`
	Text   string     `json:"text"`
}

type attachment struct {
	ContentType string `json:"contentType,omitempty"`
	URL         string `json:"url,omitempty"`
	Size        number `json:"size,omitempty"`
	Title       string `json:"title,omitempty"`
}

type extension struct {
	URL        string       `json:"url"`
	Extension  []*extension `json:"extension,omitempty"`
	Base64     []byte       `json:"valueBase64Binary,omitempty"`
	Boolean    *bool        `json:"valueBoolean,omitempty"`
	Code       string       `json:"valueCode,omitempty"`
	DateTime   string       `json:"valueDateTime,omitempty"`
	String     string       `json:"valueString,omitempty"`
	Annotation *annotation  `json:"valueAnnotation,omitempty"`
	Identifier *identifier  `json:"valueIdentifier,omitempty"`
	Quantity   *quantity    `json:"valueQuantity,omitempty"`
	Reference  *reference   `json:"valueReference,omitempty"`
}

type humanName struct {
	Use    string   `json:"use,omitempty"`
	Text   string   `json:"text,omitempty"`
	Family string   `json:"family,omitempty"`
	Given  []string `json:"given,omitempty"`
}

type telecom struct {
	System string `json:"system"`
	Value  string `json:"value"`
}

type address struct {
	Line       []string `json:"line,omitempty"`
	City       string   `json:"city,omitempty"`
	PostalCode string   `json:"postalCode,omitempty"`
	Country    string   `json:"country,omitempty"`
}

type patient struct {
	header
	Identifier    []*identifier   `json:"identifier,omitempty"`
	Active        *bool           `json:"active,omitempty"`
	Name          []humanName     `json:"name,omitempty"`
	Telecom       []telecom       `json:"telecom,omitempty"`
	Gender        string          `json:"gender,omitempty"`
	BirthDate     string          `json:"birthDate,omitempty"`
	Deceased      string          `json:"deceasedDateTime,omitempty"`
	Address       []address       `json:"address,omitempty"`
	Communication []communication `json:"communication,omitempty"`
	Managing      *reference      `json:"managingOrganization,omitempty"`
	Link          []patientLink   `json:"link,omitempty"`
}

type communication struct {
	Language concept `json:"language"`
}

type patientLink struct {
	Other *reference `json:"other"`
	Type  string     `json:"type"`
}

type practitioner struct {
	header
	Identifier    []*identifier   `json:"identifier,omitempty"`
	Active        *bool           `json:"active,omitempty"`
	Name          []humanName     `json:"name,omitempty"`
	Qualification []qualification `json:"qualification,omitempty"`
}

type qualification struct {
	Code concept `json:"code"`
}

type organization struct {
	header
	Active *bool  `json:"active,omitempty"`
	Name   string `json:"name,omitempty"`
}

type location struct {
	header
	Status   string     `json:"status,omitempty"`
	Name     string     `json:"name,omitempty"`
	Mode     string     `json:"mode,omitempty"`
	Telecom  []telecom  `json:"telecom,omitempty"`
	Address  *address   `json:"address,omitempty"`
	Managing *reference `json:"managingOrganization,omitempty"`
}

type encounter struct {
	header
	Identifier  []*identifier `json:"identifier,omitempty"`
	Status      string        `json:"status"`
	Class       coding        `json:"class"`
	Type        []concept     `json:"type,omitempty"`
	Subject     *reference    `json:"subject,omitempty"`
	Participant []participant `json:"participant,omitempty"`
	Period      *period       `json:"period,omitempty"`
	Location    []visited     `json:"location,omitempty"`
	Provider    *reference    `json:"serviceProvider,omitempty"`
}

type participant struct {
	Type       []concept  `json:"type,omitempty"`
	Individual *reference `json:"individual,omitempty"`
}

type visited struct {
	Location *reference `json:"location"`
}

type procedure struct {
	header
	Status       string       `json:"status"`
	StatusReason *concept     `json:"statusReason,omitempty"`
	Code         *concept     `json:"code,omitempty"`
	Subject      *reference   `json:"subject"`
	Encounter    *reference   `json:"encounter,omitempty"`
	Performed    string       `json:"performedDateTime,omitempty"`
	Period       *period      `json:"performedPeriod,omitempty"`
	Performer    []performer  `json:"performer,omitempty"`
	Location     *reference   `json:"location,omitempty"`
	BodySite     []*concept   `json:"bodySite,omitempty"`
	Complication []concept    `json:"complication,omitempty"`
	FollowUp     []concept    `json:"followUp,omitempty"`
	Note         []annotation `json:"note,omitempty"`
	Used         []*reference `json:"usedReference,omitempty"`
}

type performer struct {
	Function *concept   `json:"function,omitempty"`
	Actor    *reference `json:"actor"`
}

type medicationRequest struct {
	header
	Status          string       `json:"status"`
	StatusReason    *concept     `json:"statusReason,omitempty"`
	Intent          string       `json:"intent"`
	Medication      *concept     `json:"medicationCodeableConcept"`
	Subject         *reference   `json:"subject"`
	AuthoredOn      string       `json:"authoredOn,omitempty"`
	Requester       *reference   `json:"requester,omitempty"`
	GroupIdentifier *identifier  `json:"groupIdentifier,omitempty"`
	Note            []annotation `json:"note,omitempty"`
	Dosage          []instructed `json:"dosageInstruction,omitempty"`
	Dispense        *dispense    `json:"dispenseRequest,omitempty"`
}

type instructed struct {
	Text string    `json:"text,omitempty"`
	Site *concept  `json:"site,omitempty"`
	Most *quantity `json:"maxDosePerAdministration,omitempty"`
}

type dispense struct {
	Validity *period `json:"validityPeriod,omitempty"`
	Repeats  number  `json:"numberOfRepeatsAllowed,omitempty"`
}

type administration struct {
	header
	Identifier []*identifier `json:"identifier,omitempty"`
	PartOf     []*reference  `json:"partOf,omitempty"`
	Status     string        `json:"status"`
	Concept    *concept      `json:"medicationCodeableConcept,omitempty"`
	Reference  *reference    `json:"medicationReference,omitempty"`
	Subject    *reference    `json:"subject"`
	Context    *reference    `json:"context,omitempty"`
	Effective  string        `json:"effectiveDateTime"`
	Performer  []performer   `json:"performer,omitempty"`
	Request    *reference    `json:"request,omitempty"`
	Note       []annotation  `json:"note,omitempty"`
	Dosage     administered  `json:"dosage"`
}

type administered struct {
	Text  string    `json:"text,omitempty"`
	Site  *concept  `json:"site,omitempty"`
	Route *concept  `json:"route,omitempty"`
	Dose  *quantity `json:"dose"`
}

type medication struct {
	header
	Identifier []*identifier `json:"identifier,omitempty"`
	Code       *concept      `json:"code,omitempty"`
	Status     string        `json:"status,omitempty"`
	Form       *concept      `json:"form,omitempty"`
	Amount     *ratio        `json:"amount,omitempty"`
	Batch      *batch        `json:"batch,omitempty"`
}

type batch struct {
	LotNumber  string `json:"lotNumber,omitempty"`
	Expiration string `json:"expirationDate,omitempty"`
}

type adverseEvent struct {
	header
	Identifier  *identifier `json:"identifier,omitempty"`
	Actuality   string      `json:"actuality"`
	Event       *concept    `json:"event,omitempty"`
	Subject     *reference  `json:"subject"`
	Encounter   *reference  `json:"encounter,omitempty"`
	Date        string      `json:"date,omitempty"`
	Recorded    string      `json:"recordedDate,omitempty"`
	Location    *reference  `json:"location,omitempty"`
	Seriousness *concept    `json:"seriousness,omitempty"`
	Severity    *concept    `json:"severity,omitempty"`
	Outcome     *concept    `json:"outcome,omitempty"`
	Recorder    *reference  `json:"recorder,omitempty"`
	Suspect     []suspect   `json:"suspectEntity,omitempty"`
}

type suspect struct {
	Extension []*extension `json:"extension,omitempty"`
	Instance  *reference   `json:"instance"`
	Causality []causality  `json:"causality,omitempty"`
}

type causality struct {
	Assessment *concept `json:"assessment,omitempty"`
}

type consent struct {
	header
	Identifier   []*identifier  `json:"identifier,omitempty"`
	Status       string         `json:"status"`
	Scope        concept        `json:"scope"`
	Category     []concept      `json:"category"`
	Patient      *reference     `json:"patient"`
	DateTime     string         `json:"dateTime,omitempty"`
	Performer    []*reference   `json:"performer,omitempty"`
	Organization []*reference   `json:"organization,omitempty"`
	PolicyRule   *concept       `json:"policyRule"`
	Verification []verification `json:"verification,omitempty"`
}

type verification struct {
	Verified bool       `json:"verified"`
	With     *reference `json:"verifiedWith,omitempty"`
	Date     string     `json:"verificationDate,omitempty"`
}

type media struct {
	header
	Identifier []*identifier `json:"identifier,omitempty"`
	Status     string        `json:"status"`
	Type       *concept      `json:"type,omitempty"`
	View       *concept      `json:"view,omitempty"`
	Subject    *reference    `json:"subject,omitempty"`
	Encounter  *reference    `json:"encounter,omitempty"`
	Created    string        `json:"createdDateTime,omitempty"`
	Operator   *reference    `json:"operator,omitempty"`
	BodySite   *concept      `json:"bodySite,omitempty"`
	Height     number        `json:"height,omitempty"`
	Width      number        `json:"width,omitempty"`
	Content    attachment    `json:"content"`
	Note       []annotation  `json:"note,omitempty"`
}

type provenance struct {
	header
	Target    []*reference `json:"target"`
	Recorded  string       `json:"recorded"`
	Activity  *concept     `json:"activity,omitempty"`
	Agent     []agent      `json:"agent"`
	Signature []signature  `json:"signature,omitempty"`
}

type agent struct {
	Type *concept   `json:"type,omitempty"`
	Who  *reference `json:"who"`
}

type signature struct {
	Type []coding   `json:"type"`
	When string     `json:"when"`
	Who  *reference `json:"who"`
}

type outcome struct {
	header
	Issue []issue `json:"issue"`
}

type issue struct {
	Extension   []*extension `json:"extension,omitempty"`
	Severity    string       `json:"severity"`
	Code        string       `json:"code"`
	Details     concept      `json:"details"`
	Diagnostics string       `json:"diagnostics,omitempty"`
}

type bundle struct {
	ResourceType string        `json:"resourceType"`
	ID           string        `json:"id"`
	Type         string        `json:"type"`
	Entry        []bundleEntry `json:"entry,omitempty"`
}

type bundleEntry struct {
	FullURL  string   `json:"fullUrl"`
	Resource resource `json:"resource"`
}
