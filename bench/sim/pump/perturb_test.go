package pump

import (
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Each group changes its own constants by its factor, and no other.
func TestPerturbedChangesItsGroup(t *testing.T) {
	moved := map[string][]string{
		RetryTiming: {"Verify_s", "Rest_s", "Wake_s"},
		RampTiming:  {"Ramp_s", "Align_s", "Slew_s"},
		RippleGroup: {"Ripple"},
		FrictionLaw: {"Coulomb_Nm", "Viscous_Nms"},
		NoiseGroup:  {"Unrest"},
	}
	for _, size := range Sizes() {
		p := nominal(t, size)
		for _, name := range Perturbations() {
			for _, factor := range []float64{0.5, 2} {
				q, err := p.Perturbed(name, factor)
				require.NoError(t, err)
				a, b := reflect.ValueOf(p), reflect.ValueOf(q)
				for i := range a.NumField() {
					field := a.Type().Field(i).Name
					changed := !reflect.DeepEqual(a.Field(i).Interface(), b.Field(i).Interface())
					assert.Equal(t, slices.Contains(moved[name], field), changed, "%s: %s of %s", size, field, name)
					if changed && name != FrictionLaw {
						assert.InDelta(t, factor, b.Field(i).Float()/a.Field(i).Float(), 1e-9, "%s: %s", size, field)
					}
				}
			}
		}
	}
}

// The friction law moves torque from one part to the other: at the middle
// speed their sum stays and their ratio takes the factor.
func TestPerturbedFrictionKeepsItsTorque(t *testing.T) {
	for _, size := range Sizes() {
		p := nominal(t, size)
		w := p.middle_rad_s()
		for _, factor := range []float64{0.5, 2} {
			q, err := p.Perturbed(FrictionLaw, factor)
			require.NoError(t, err)
			assert.InEpsilon(t, p.Coulomb_Nm+p.Viscous_Nms*w, q.Coulomb_Nm+q.Viscous_Nms*w, 1e-9)
			assert.InEpsilon(t, factor*p.Viscous_Nms/p.Coulomb_Nm, q.Viscous_Nms/q.Coulomb_Nm, 1e-9)
		}
	}
}

func TestPerturbedRefuses(t *testing.T) {
	p := nominal(t, "medium")
	_, err := p.Perturbed("weather", 2)
	assert.ErrorContains(t, err, RetryTiming)
	for _, factor := range []float64{0, -1, 1e9} {
		_, err = p.Perturbed(NoiseGroup, factor)
		assert.ErrorContains(t, err, "factor")
	}
}
