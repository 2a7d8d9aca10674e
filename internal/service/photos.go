package service

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/blob"
	"needlebook/internal/fault"
	"needlebook/internal/photo"
	"needlebook/internal/store"
)

// maxPhotoPixels bounds a photo before anyone decodes it: twice what the tablets' cameras make.
const maxPhotoPixels = 64 << 20

// PutPhotoChunk stores a piece of a photo. The piece at the beginning must be that of a JPEG or PNG of a bounded size; only headers are read,
// never the image.
func (y *syncing) PutPhotoChunk(ctx context.Context, m *syncv1.PutPhotoChunkRequest) (*syncv1.PutPhotoChunkResponse, error) {
	c := callOf(ctx)
	if m.GetOffset() == 0 {
		if err := checkPhotoHeader(m.GetData()); err != nil {
			return nil, err
		}
	}
	if m.GetOffset() >= m.GetSize() {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "offset", fmt.Sprint(m.GetOffset()), "less than size")
	}
	h := blob.Hash(m.GetSha256())
	if err := y.ownPhoto(ctx, c, h); err != nil {
		return nil, err
	}
	complete, err := y.Blobs.PutChunk(h, int64(m.GetSize()), int64(m.GetOffset()), m.GetData())
	if err != nil {
		return nil, err
	}
	if complete {
		return &syncv1.PutPhotoChunkResponse{StoredThrough: m.GetSize(), Complete: true}, nil
	}
	gaps, err := y.Blobs.Missing(h, int64(m.GetSize()))
	if err != nil {
		return nil, err
	}
	resp := &syncv1.PutPhotoChunkResponse{StoredThrough: m.GetSize(), Complete: len(gaps) == 0}
	if len(gaps) > 0 {
		resp.StoredThrough = uint64(gaps[0].Offset)
	}
	return resp, nil
}

// checkPhotoHeader refuses what is no photo by the header alone.
func checkPhotoHeader(begin []byte) error {
	var config image.Config
	var err error
	switch {
	case bytes.HasPrefix(begin, []byte("\xff\xd8\xff")):
		config, err = jpeg.DecodeConfig(bytes.NewReader(begin))
	case bytes.HasPrefix(begin, []byte("\x89PNG\r\n\x1a\n")):
		config, err = png.DecodeConfig(bytes.NewReader(begin))
	default:
		err = image.ErrFormat
	}
	if err != nil {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "data", fmt.Sprintf("%d bytes", len(begin)),
			"the beginning of a JPEG or PNG, its header in the first piece")
	}
	if config.Width < 1 || config.Height < 1 || config.Width > maxPhotoPixels/config.Height {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "data", fmt.Sprintf("%d by %d pixels", config.Width, config.Height),
			fmt.Sprintf("at most %d pixels", maxPhotoPixels))
	}
	if _, err := photo.CheckBeginning(begin); errors.Is(err, photo.ErrMetadata) {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "data", "metadata", "a photo without what the camera wrote beside the picture; strip it before its hash "+
			"is reckoned")
	}
	return nil
}

// ownPhoto notes that the organisation has a photo, at its first piece, with its entry in the audit log.
func (y *syncing) ownPhoto(ctx context.Context, c *call, h blob.Hash) error {
	k := key(keyPhoto, c.principal.Org[:], h[:])
	known, err := y.hasPhoto(ctx, k)
	if known || err != nil {
		return err
	}
	return y.Store.Update(ctx, func(w store.Writer) error {
		if err := notRevoked(w, c.principal.Org, c.principal.Device); err != nil {
			return err
		}
		if err := w.Put(k, []byte{valueVersion}); err != nil {
			return err
		}
		_, err := y.enter(w, c, touched{kind: optionsv1.RecordKind_RECORD_KIND_PHOTO, remark: "photo up"})
		return err
	})
}

func (y *syncing) hasPhoto(ctx context.Context, k []byte) (has bool, err error) {
	err = y.Store.View(ctx, func(r store.Reader) error {
		_, err := r.Get(k)
		if errors.Is(err, store.ErrNotFound) {
			return nil
		}
		has = err == nil
		return err
	})
	return has, err
}

// GetPhotoChunk reads a piece of a photo of the caller's organisation; of another's it is missing.
func (y *syncing) GetPhotoChunk(ctx context.Context, m *syncv1.GetPhotoChunkRequest) (*syncv1.GetPhotoChunkResponse, error) {
	c := callOf(ctx)
	h := blob.Hash(m.GetSha256())
	has, err := y.hasPhoto(ctx, key(keyPhoto, c.principal.Org[:], h[:]))
	if err != nil {
		return nil, err
	}
	if !has {
		return nil, fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", "")
	}
	size, err := y.Blobs.Size(h)
	if err != nil {
		return nil, err
	}
	resp := &syncv1.GetPhotoChunkResponse{Size: uint64(size)}
	if m.GetOffset() >= uint64(size) {
		return resp, nil
	}
	if resp.Data, err = y.Blobs.Get(h, int64(m.GetOffset()), int64(m.GetMaxBytes())); err != nil {
		return nil, err
	}
	if m.GetOffset() == 0 {
		return resp, y.enterRead(ctx, c, touched{kind: optionsv1.RecordKind_RECORD_KIND_PHOTO, remark: "photo down"})
	}
	return resp, nil
}
