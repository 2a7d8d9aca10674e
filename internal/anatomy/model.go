package anatomy

// vertex is a vertex of the canonical face mesh on its left half or in its middle, rounded to the micrometre: outward from the midline, up,
// forward. The mesh comes in what is taken, from memory, to be centimetres (docs/anatomy.md). It is a generic model and not a patient. A test
// compares this table with the mesh.
type vertex struct {
	lateral, up, forward int64
}

// The vertices used, by their number in the mesh. Of each pair the left one is named. Which number is which landmark is read for the corners, the
// middle of the brow, the nose and the outline's ends, and from memory for the other points of lip, brow and jaw.
const (
	upperLipMiddle   = 0
	noseTipMiddle    = 1
	noseBottomMiddle = 2
	lowerLipMiddle   = 17
	chinLowest       = 152
	betweenEyes      = 168
	outerCanthus     = 263
	upperLip1        = 267
	upperLip2        = 269
	upperLip3        = 270
	browLower2       = 282
	browLower3       = 283
	browMedialEnd    = 285
	mouthCorner      = 291
	browLower1       = 295
	browLateralEnd   = 300
	lowerLip1        = 314
	lowerLip3        = 321
	noseCorner       = 327
	browMiddle       = 334
	innerCanthus     = 362
	jawOutline5      = 365
	lowerLip4        = 375
	jawOutline1      = 377
	jawOutline3      = 378
	jawOutline4      = 379
	jawAngle         = 397
	jawOutline2      = 400
	lowerLip2        = 405
	upperLip4        = 409
	faceSide         = 454
	browLower4       = 276
)

// modelVertex answers zero for a number that is not used here.
func modelVertex(number int) vertex {
	switch number {
	case upperLipMiddle:
		return vertex{0, -34064, 59795}
	case noseTipMiddle:
		return vertex{0, -11269, 74756}
	case noseBottomMiddle:
		return vertex{0, -20890, 60583}
	case lowerLipMiddle:
		return vertex{0, -53651, 55354}
	case chinLowest:
		return vertex{0, -94034, 42645}
	case betweenEyes:
		return vertex{0, 32710, 52360}
	case outerCanthus:
		return vertex{44459, 26640, 31734}
	case upperLip1:
		return vertex{7115, -33294, 58770}
	case upperLip2:
		return vertex{14316, -35010, 54962}
	case upperLip3:
		return vertex{19149, -38031, 50289}
	case browLower4:
		return vertex{52533, 38816, 33632}
	case browLower2:
		return vertex{37350, 45082, 45505}
	case browLower3:
		return vertex{45886, 43020, 40485}
	case browMedialEnd:
		return vertex{12209, 41422, 51060}
	case mouthCorner:
		return vertex{24562, -43426, 42839}
	case browLower1:
		return vertex{26445, 45247, 49216}
	case browLateralEnd:
		return vertex{57210, 42546, 28309}
	case lowerLip1:
		return vertex{6996, -52919, 54483}
	case lowerLip3:
		return vertex{18386, -48287, 48237}
	case noseCorner:
		return vertex{14056, -17142, 52411}
	case browMiddle:
		return vertex{39866, 51095, 44663}
	case innerCanthus:
		return vertex{18564, 25852, 37579}
	case jawOutline5:
		return vertex{50853, -71786, 7147}
	case lowerLip4:
		return vertex{21961, -45983, 44798}
	case jawOutline1:
		return vertex{12929, -92959, 40941}
	case jawOutline3:
		return vertex{32107, -85333, 28020}
	case jawOutline4:
		return vertex{40689, -79931, 19251}
	case jawAngle:
		return vertex{59405, -62236, -6315}
	case jawOutline2:
		return vertex{23090, -89742, 36091}
	case lowerLip2:
		return vertex{13251, -51065, 52050}
	case upperLip4:
		return vertex{22853, -40512, 45824}
	case faceSide:
		return vertex{76642, 6731, -24359}
	}
	return vertex{}
}
