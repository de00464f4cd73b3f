package scene

import "math"

// scenic is how the surroundings of a scene with photographs are laid out.
type scenic struct {
	photo string  // Name of the backdrop.
	wide  float32 // The photograph is so many metres wide.
	foot  float32 // The ground's edge lies at this share of its height, from above.
	shift float32 // Where in the photograph, as a share of its width, the lane's end lies.
	light float32
	barn  bool
	barnX float32
	// barnLong is the length of the barn; a long one fills the picture's width.
	barnLong float32
	fence    bool
	seed     float32
	worn     float32
	coarse   float32 // Size of the ground's grains over the photograph's.
}

// backdrops are photographs with the row, as a share of the height, that is put at
// the ground's far edge, and how wide the scene in them is, m.
var backdrops = []scenic{
	{photo: "meadow", wide: 74, foot: 0.78},
	{photo: "meadow", wide: 96, foot: 0.70},
	{photo: "hill", wide: 76, foot: 0.62},
	{photo: "wood", wide: 64, foot: 0.30},
}

func newScenic(m *motion) scenic {
	rng := m.rng(12)
	s := backdrops[rng.IntN(len(backdrops))]
	// The photograph's sides, where it is turned over, lie outside the picture.
	s.shift = float32(0.4 + 0.2*rng.Float64())
	s.light = float32(0.8 + 0.4*rng.Float64())
	s.barn = rng.Float64() < 0.5
	s.barnX = float32(-12 + 16*rng.Float64())
	s.barnLong = 11
	if rng.Float64() < 0.4 {
		s.barnX, s.barnLong = -26, 60
	}
	s.fence = rng.Float64() < 0.7
	s.seed = float32(rng.Float64() * 200)
	s.worn = float32(0.5 + 0.5*rng.Float64())
	s.coarse = float32(0.8 + 0.5*rng.Float64())
	return s
}

// floor is the light from the ground at (x, v): its albedo, the shadows of what
// stands beside the lane, and the light.
func (y *yard) floor(x, v, across, along float32) colour {
	var c colour
	if y.photos != nil {
		c = y.pictured(x, v, across, along)
	} else {
		c = y.soil(x, v, across, along)
	}
	return c.tint(y.groundLight(x, v))
}

// groundLight is the light on the ground at (x, v).
func (y *yard) groundLight(x, v float32) colour {
	if !y.shade.on {
		return y.ground
	}
	l := y.l
	l.sun = l.sun.mul(y.shade.lit(x, v))
	return l.on(vec{0, 0, 1})
}

// pictured is the albedo of ground made of photographs.
func (y *yard) pictured(x, v, across, along float32) colour {
	s := &y.scenic
	// Along the lane a sample covers more than across; the photograph's copies are
	// chosen between the two, and sample takes several along.
	foot := max(across, along*0.5)
	seed := s.seed
	wide := 1 + 0.13*noise2(x*0.45+seed, v*0.4) + 0.10*noise2(x*1.3, v*1.1+seed) + 0.06*noise2(x*3.7+seed, v*3.1)
	edge := 0.22*noise2(x*0.7+seed, v*0.7) + 0.10*noise2(x*3, v*3+seed) + 0.05*noise2(x*11, v*11)
	turf := step32(laneHalf-0.10, laneHalf+0.25, abs32(x)+edge)
	if y.s.Yard.Ground == Turf {
		turf = 1
	}
	var lane colour
	if turf < 1 {
		lane = y.trodden(x, v, across, along, wide)
		if turf <= 0 {
			return lane
		}
	}
	c := y.grown(x, v, foot, wide)
	if y.s.Yard.Ground == Turf {
		c = y.chalk(c, x, v, across, along)
	}
	return mix(lane, c, turf)
}

// trodden is the lane of gravel or sand; wide is how bright it is over metres.
func (y *yard) trodden(x, v, across, along, wide float32) colour {
	s := &y.scenic
	foot, seed := max(across, along*0.5), s.seed
	var n float32 = 1
	tile, strength, base := 0.55*s.coarse, float32(0.85), colour{0.25, 0.222, 0.185}
	if y.s.Yard.Ground == Sand {
		tile, strength, base = 0.16*s.coarse, 0.5, colour{0.31, 0.255, 0.185}
	}
	if y.s.Yard.DarkLane {
		base = colour{0.10, 0.086, 0.07}
	}
	if g := y.photos.ground; g != nil {
		n += strength * (g.strewn(x, v, tile, foot) - 1)
		// Some coarser stones lie about.
		if y.s.Yard.Ground != Sand {
			few := step32(0.15, 0.5, noise2(x*2.3+seed, v*2.1))
			n += 0.35 * few * (g.strewn(x+9, v, tile*2.1, foot) - 1)
		}
	} else {
		for _, o := range [...][2]float32{{19, 0.16}, {47, 0.22}, {110, 0.24}} {
			n += o[1] * fade(o[0], foot) * noise2(x*o[0], v*o[0])
		}
	}
	if y.s.Yard.Ground == Sand {
		// Old hoof prints: dents with a lit and a dark side.
		n += 0.35 * fade(5, along) * (dents(x+seed, v+0.05) - dents(x+seed, v-0.05))
	}
	track := abs32(abs32(x)-0.75) - 0.22 + 0.08*noise2(x*2, v*0.7)
	n *= wide * (1 - 0.14*s.worn*(1-step32(-0.15, 0.15, track)))
	// Leaves, straw and droppings.
	straw := step32(0.62, 0.75, noise2(x*47+v*21+seed, v*160-x*60)) * step32(-0.1, 0.4, noise2(x*0.8, v*0.6+seed)) * fade(60, foot)
	lane := mix(base.mul(max(0.12, n)), colour{0.33, 0.26, 0.13}, 0.7*straw)
	return y.chalk(lane, x, v, across, along)
}

// grown is the turf beside the lane or on it.
func (y *yard) grown(x, v, foot, wide float32) colour {
	seed := y.scenic.seed
	var n float32 = 1
	if g := y.photos.turf; g != nil {
		n += 0.95 * (g.strewn(x, v, 1.1, foot) - 1)
	} else {
		n += 0.3 * fade(38, foot) * noise2(x*38, v*38)
	}
	c := mix(colour{0.085, 0.115, 0.035}, colour{0.20, 0.17, 0.085}, step32(-0.3, 0.8, noise2(x*0.6+seed, v*0.5)+0.4*noise2(x*2.1, v*1.9)))
	if h := y.photos.hill; h != nil {
		// The colours of a real slope, from the lower half of the photograph.
		p := h.at(x/9+seed, 0.90+0.07*noise2(x*0.21, v*0.17+seed), 0.03, true)
		c = mix(c, p.mul(0.9), 0.35)
	}
	return c.mul(max(0.1, n*wide))
}

// dents is the depth of old prints in the ground, 0 to 1.
func dents(x, v float32) float32 {
	return step32(0.2, 0.6, noise2(x*5.3, v*4.7)) + 0.5*step32(0.1, 0.5, noise2(x*11, v*10+40))
}

// view is the light from the backdrop at x across and z up.
func (y *yard) view(x, z, foot float32) colour {
	s := &y.scenic
	light := y.l.on(vec{0, -0.8, 0.6})
	var c colour
	if p := y.photos.backdrop; p != nil {
		b := &p.levels[0]
		tall := s.wide * float32(b.h) / float32(b.w)
		u := x/s.wide + s.shift
		v := s.foot - z/tall
		if v < 0 {
			v = -v * 0.3 // Above the photograph its sky goes on, turned over and stretched.
		}
		c = p.at(u, min(v, 0.999), foot/s.wide, true)
		// A photograph has its own light in it; bring it to that of the scene.
		k := 1.5 * s.light * (0.3 + 0.7*light.g)
		c = c.mul(k)
		grey := 0.2126*c.r + 0.7152*c.g + 0.0722*c.b
		c = mix(c, colour{grey, grey, grey}, 0.3)
		c = colour{min(c.r, 1.2), min(c.g, 1.2), min(c.b, 1.2)}
	} else {
		c = y.scenery(x, z, foot)
	}
	soft := foot*0.7 + 0.01
	edge := func(d float32) float32 { return step32(-soft, soft, d) }
	if s.barn {
		c = y.barnWall(c, x-s.barnX, z, foot, light, edge)
	}
	if s.fence {
		wood := colour{0.20, 0.175, 0.145}.mul(1 + 0.3*noise2(x*3+s.seed, z*25)*fade(25, foot) + 0.12*noise2(x*0.8, z*3)).tint(light)
		for _, r := range [...]float32{0.5, 1.0} {
			c = mix(wood, c, edge(abs32(z-r-0.02*noise2(x*0.8, r*9+s.seed))-0.055))
		}
		_, fp := floor32(x/2.7 + 0.05*noise2(x*0.1, 7))
		if z < 1.25+0.05*noise2(x*0.37, 3) {
			c = mix(wood.mul(0.8), c, edge(abs32(fp-0.5)*2.7-0.065))
		}
	}
	// Weeds at the foot hide where the plane begins.
	tuft := 0.16 + 0.14*noise2(x*1.3, 4) + 0.10*noise2(x*5, 2) + 0.10*noise2(x*17, 9)*fade(17, foot)
	weed := y.pictured(x+50, z*4+70, foot, foot).tint(y.ground)
	return mix(weed, c, edge(z-tuft))
}

// barnWall draws a brick building with a door and a roof.
func (y *yard) barnWall(c colour, x, z, foot float32, light colour, edge func(float32) float32) colour {
	const eaves, ridge = 3.1, 5.2
	long := y.scenic.barnLong
	inside := func(lo, hi, v float32) float32 { return 1 - max(edge(lo-v), edge(v-hi)) }
	if x < -1 || x > long+1 || z > ridge+1 {
		return c
	}
	roof := colour{0.16, 0.085, 0.06}.mul(1 + 0.25*noise2(x*4, z*9)*fade(9, foot) + 0.15*noise2(x*0.9, z)).tint(light)
	c = mix(c, roof, inside(-0.4, long+0.4, x)*inside(eaves-0.1, ridge, z))
	n := float32(1)
	if b := y.photos.brick; b != nil {
		n += 0.8 * (b.strewn(z, x, 1.6, foot) - 1) // The bricks lie along the wall.
	}
	wall := colour{0.27, 0.15, 0.105}.mul(n * (1 + 0.12*noise2(x*1.3+4, z*1.7))).tint(light)
	c = mix(c, wall, inside(0, long, x)*inside(-1, eaves, z))
	// Doors and windows come again and again along a long one.
	bay := x
	if x > 0 {
		bay = x - 11.5*float32(int(x/11.5))
	}
	x = bay
	door := colour{0.02, 0.017, 0.015}.mul(1 + 0.5*noise2(x*2, z*2))
	c = mix(c, door, inside(2.2, 4.3, x)*inside(-1, 2.5, z))
	leaf := colour{0.10, 0.12, 0.08}.mul(1 + 0.15*float32(math.Sin(float64(x)*40))).tint(light)
	c = mix(c, leaf, inside(4.35, 6.3, x)*inside(0.05, 2.5, z))
	return mix(c, colour{0.5, 0.55, 0.6}.tint(light), 0.5*inside(7.6, 9, x)*inside(1.3, 2.2, z))
}
