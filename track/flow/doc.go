// Package flow is the checked layer over the image analysis of OpenCV that
// tracking uses, and the registration of picture patches built beside it.
//
// A C++ exception inside OpenCV ends the process and cannot be recovered, so
// every function here checks sizes, types and numbers before it calls, and
// returns an error instead. Values that OpenCV leaves undefined (scores of flat
// patches, points outside the picture) are replaced by "not found".
//
// Pictures are 8-bit luma. Positions are pixels, x to the right, y down, (0, 0)
// the centre of the top-left pixel. No OpenCV type crosses the package's
// border; every Mat is closed in the function that made it.
//
// Sources: pyramidal Lucas–Kanade as in Bouguet 2000 ("Pyramidal implementation
// of the affine Lucas Kanade feature tracker"); registration by the inverse
// compositional form of Baker & Matthews 2004 (IJCV 56:221–255) with gain,
// offset and a robust weight per pixel.
package flow
