package sim

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	"needlebook/internal/record"
	"needlebook/internal/schema"
)

// schemas is the versions of the program that meet in a simulation. They are immutable and shared by runs.
type schemas struct {
	now *record.Schema
	old *record.Schema // lacks fields and a whole collection
}

// lacking is what the older version does not know: messages, and the numbers of their fields.
func lacking() map[protoreflect.FullName][]int32 {
	return map[protoreflect.FullName][]int32{
		"needlebook.chart.v1.Injection": {fieldUneven},
		"needlebook.chart.v1.Session":   {fieldRatings},
		"needlebook.chart.v1.Vial":      {fieldVialClinic},
	}
}

func newSchemas() (*schemas, error) {
	now, err := record.NewSchema(schema.Records()...)
	if err != nil {
		return nil, err
	}
	old, err := without(lacking())
	return &schemas{now, old}, err
}

// without is the schema less some fields.
func without(less map[protoreflect.FullName][]int32) (*record.Schema, error) {
	return edited(descriptorBuilder{less: less})
}

// edited is the schema as a builder changes it.
func edited(b descriptorBuilder) (*record.Schema, error) {
	b.made = map[string]protoreflect.FileDescriptor{}
	var out []protoreflect.MessageDescriptor
	for _, md := range schema.Records() {
		fd, err := b.file(md.ParentFile())
		if err != nil {
			return nil, err
		}
		out = append(out, fd.Messages().ByName(md.Name()))
	}
	return record.NewSchema(out...)
}

// descriptorBuilder makes files anew, each over those that it imports.
type descriptorBuilder struct {
	less map[protoreflect.FullName][]int32
	edit func(*descriptorpb.FieldDescriptorProto)
	made map[string]protoreflect.FileDescriptor
}

func (b *descriptorBuilder) file(fd protoreflect.FileDescriptor) (protoreflect.FileDescriptor, error) {
	if made := b.made[fd.Path()]; made != nil {
		return made, nil
	}
	for i := range fd.Imports().Len() {
		if in := fd.Imports().Get(i).FileDescriptor; in.Package() == fd.Package() {
			if _, err := b.file(in); err != nil {
				return nil, err
			}
		}
	}
	p := protodesc.ToFileDescriptorProto(fd)
	for _, m := range p.GetMessageType() {
		gone := b.less[fd.Package().Append(protoreflect.Name(m.GetName()))]
		m.Field = slices.DeleteFunc(m.Field, func(f *descriptorpb.FieldDescriptorProto) bool { return slices.Contains(gone, f.GetNumber()) })
		dropLoneOneofs(m)
		for _, f := range m.Field {
			if b.edit != nil {
				b.edit(f)
			}
		}
	}
	made, err := protodesc.NewFile(p, b)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", fd.Path(), err)
	}
	b.made[fd.Path()] = made
	return made, nil
}

// dropLoneOneofs drops the oneofs of which no field is left; each optional field has one of its own.
func dropLoneOneofs(m *descriptorpb.DescriptorProto) {
	var kept []*descriptorpb.OneofDescriptorProto
	for i, o := range m.OneofDecl {
		used := false
		for _, f := range m.Field {
			if f.OneofIndex != nil && int(f.GetOneofIndex()) == i {
				used = true
				at := int32(len(kept))
				defer func() { f.OneofIndex = &at }()
			}
		}
		if used {
			kept = append(kept, o)
		}
	}
	m.OneofDecl = kept
}

// FindFileByPath and FindDescriptorByName make the builder a resolver that prefers what it made.
func (b *descriptorBuilder) FindFileByPath(path string) (protoreflect.FileDescriptor, error) {
	if made := b.made[path]; made != nil {
		return made, nil
	}
	return protoregistry.GlobalFiles.FindFileByPath(path)
}

// FindDescriptorByName implements protodesc.Resolver.
func (b *descriptorBuilder) FindDescriptorByName(name protoreflect.FullName) (protoreflect.Descriptor, error) {
	for _, fd := range b.made {
		if md := fd.Messages().ByName(name.Name()); md != nil && md.FullName() == name {
			return md, nil
		}
		if ed := fd.Enums().ByName(name.Name()); ed != nil && ed.FullName() == name {
			return ed, nil
		}
	}
	return protoregistry.GlobalFiles.FindDescriptorByName(name)
}
