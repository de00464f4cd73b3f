package scene

import (
	"jogstrip/track/traj"
	"testing"
)

func TestLook(t *testing.T) {
	s := Scene{Seed: 1, Horse: Horse{Handler: true, Socks: [4]bool{true, false, false, true}}}
	_, p := still(t, s, 5.9)
	savePNG(t, p, "/tmp/scene/l1.png")
	s.View = traj.Away
	s.Horse.Markers = true
	s.Horse.Coat = Grey
	s.Yard.Light = Overcast
	_, p = still(t, s, 0.6)
	savePNG(t, p, "/tmp/scene/l2.png")
	s.Horse.Coat = Bay
	s.Yard.Light = Dusk
	s.Horse.Markers = false
	_, p = still(t, s, 1.2)
	savePNG(t, p, "/tmp/scene/l3.png")
}
