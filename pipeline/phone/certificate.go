package phone

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"time"

	"jogstrip/pipeline/fsx"
)

// A certificate that no authority vouches for is as good as its fingerprint: a
// person compares it once. So it is kept for a year; after that, or when the
// computer has another address, a new one is made.
const certificateLife = 365 * 24 * time.Hour

// certificate returns the certificate kept in the file at path if it still holds
// for all addresses, or else a new one, which it keeps there, readable by the
// owner alone.
func certificate(path string, addresses []netip.Addr, now time.Time) (tls.Certificate, error) {
	data, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return tls.Certificate{}, fmt.Errorf("read certificate: %w", err)
	}
	if err == nil {
		if kept, err := tls.X509KeyPair(data, data); err == nil && serves(kept.Leaf, addresses, now) {
			return kept, nil
		}
	}
	if data, err = newCertificate(addresses, now); err != nil {
		return tls.Certificate{}, fmt.Errorf("make certificate: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return tls.Certificate{}, fmt.Errorf("keep certificate: %w", err)
	}
	if err := fsx.WritePrivate(path, data); err != nil {
		return tls.Certificate{}, fmt.Errorf("keep certificate: %w", err)
	}
	return tls.X509KeyPair(data, data)
}

func serves(c *x509.Certificate, addresses []netip.Addr, now time.Time) bool {
	if c == nil || now.Before(c.NotBefore) || now.Add(24*time.Hour).After(c.NotAfter) {
		return false
	}
	for _, a := range addresses {
		if c.VerifyHostname(a.String()) != nil {
			return false
		}
	}
	return true
}

// newCertificate returns a certificate and its key as PEM (RFC 7468), ECDSA on
// P-256, which all phones' browsers know.
func newCertificate(addresses []netip.Addr, now time.Time) ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, err
	}
	template := &x509.Certificate{
		SerialNumber: serial.Add(serial, big.NewInt(1)), Subject: pkix.Name{CommonName: "jogstrip on this computer"},
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(certificateLife),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
	}
	for _, a := range addresses {
		template.IPAddresses = append(template.IPAddresses, a.AsSlice())
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		return nil, err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	return append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})...), nil
}

// fingerprint writes the SHA-256 of a certificate as browsers show it: pairs of
// hexadecimal digits.
func fingerprint(c tls.Certificate) string {
	sum := sha256.Sum256(c.Certificate[0])
	pairs := make([]string, len(sum))
	for i, b := range sum {
		pairs[i] = fmt.Sprintf("%02X", b)
	}
	return strings.Join(pairs, ":")
}
