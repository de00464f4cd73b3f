// Package geometry turns picture positions into lane positions: a pinhole
// camera with square pixels, the principal point at the picture's centre and
// no lens distortion, calibrated from what a person clicked.
//
// The lane frame has X to the camera's right, Y along the lane away from the
// camera, Z up with the ground at Z = 0, in metres.
package geometry
