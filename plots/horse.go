package plots

// A horse seen from its left, its head to the left: 264 wide, y down, the ground at 210.
// It is the drawing of the page on which a visit is recorded, which a test compares.
const (
	horseWidth  = 264
	horseHeight = 214
)

// outlinePoint is a point that an outline goes through, smoothly or with a corner.
type outlinePoint struct {
	x, y   float64
	corner bool
}

var (
	horseOutline = []outlinePoint{{17, 86, false}, {22, 72, false}, {36, 52, false}, {48, 36, false}, {56, 30, false}, {58, 20, true}, {65, 28, false}, {76, 34, false}, {92, 46, false}, {108, 58, false}, {120, 62, false}, {136, 68, false}, {156, 70, false}, {176, 66, false}, {196, 60, false}, {214, 62, false}, {228, 70, false}, {237, 84, false}, {240, 100, false}, {236, 116, false}, {228, 128, false}, {229, 140, false}, {236, 146, false}, {233, 156, false}, {229, 172, false}, {230, 186, false}, {233, 194, false}, {235, 210, true}, {212, 210, true}, {221, 196, false}, {219, 186, false}, {219, 170, false}, {220, 154, false}, {216, 142, false}, {206, 128, false}, {198, 118, false}, {186, 122, false}, {160, 128, false}, {136, 126, false}, {118, 122, false}, {113, 130, false}, {109, 146, false}, {108, 156, false}, {106, 168, false}, {103, 184, false}, {104, 194, false}, {105, 210, true}, {83, 210, true}, {92, 196, false}, {92, 186, false}, {93, 168, false}, {92, 156, false}, {93, 142, false}, {90, 128, false}, {80, 114, false}, {76, 100, false}, {78, 86, false}, {74, 72, false}, {66, 64, false}, {54, 66, false}, {42, 76, false}, {34, 90, false}, {26, 96, false}, {19, 94, false}}
	horseFar     = [][]outlinePoint{
		{{116, 122, false}, {124, 146, false}, {122, 158, false}, {124, 186, false}, {126, 196, false}, {128, 208, true}, {110, 208, true}, {114, 196, false}, {112, 160, false}, {104, 128, false}},
		{{196, 116, false}, {206, 132, false}, {214, 146, false}, {208, 160, false}, {206, 186, false}, {208, 196, false}, {210, 208, true}, {192, 208, true}, {197, 194, false}, {197, 158, false}, {202, 146, false}, {186, 124, false}},
	}
	horseLines = [][]outlinePoint{
		{{70, 60, false}, {84, 72, false}, {94, 88, false}, {88, 104, false}, {82, 110, false}},
		{{118, 66, false}, {106, 82, false}, {92, 96, false}, {84, 104, false}},
		{{110, 118, false}, {104, 108, false}, {98, 104, false}},
		{{196, 116, false}, {204, 108, false}, {212, 98, false}},
		{{232, 72, false}, {246, 88, false}, {250, 120, false}, {244, 158, false}, {248, 170, false}},
		{{92, 154, false}, {100, 157, false}, {107, 154, false}},
		{{90, 196, false}, {97, 199, false}, {104, 196, false}},
		{{221, 197, false}, {227, 200, false}, {233, 197, false}},
		{{40, 50, false}, {44, 49, false}, {43, 53, false}},
		{{24, 82, false}, {27, 80, false}, {28, 84, false}},
	}
)

// regionPlaces tells where the regions that are felt sit in the drawing.
var regionPlaces = map[string][2]float64{
	"withers":                   {121, 66},
	"trapezius":                 {104, 69},
	"shoulder blade, front":     {98, 87},
	"shoulder blade, rear":      {115, 85},
	"behind the shoulder blade": {133, 83},
	"base of the neck":          {83, 78},
	"point of shoulder":         {82, 104},
	"triceps":                   {107, 104},
	"girth":                     {126, 108},
	"chest muscles":             {90, 120},
	"forearm":                   {99, 136},
	"knee":                      {99, 153},
	"fore tendons":              {100, 170},
	"fore fetlock":              {97, 187},
	"fore foot":                 {94, 204},
	"poll":                      {64, 34},
	"jaw joint":                 {50, 55},
	"upper neck":                {80, 50},
	"neck crest":                {98, 58},
	"underside of the neck":     {80, 74},
	"saddle region":             {140, 78},
	"loin":                      {178, 76},
	"ribs":                      {152, 102},
	"belly":                     {162, 120},
	"flank":                     {186, 104},
	"sacroiliac region":         {199, 68},
	"croup":                     {216, 74},
	"point of hip":              {189, 84},
	"tail head":                 {233, 80},
	"biceps femoris":            {213, 96},
	"hamstrings":                {232, 100},
	"stifle":                    {195, 113},
	"inner thigh":               {212, 116},
	"gaskin":                    {220, 132},
	"hock":                      {226, 149},
	"hind tendons":              {225, 166},
	"hind fetlock":              {226, 183},
	"hind foot":                 {225, 200},
}
