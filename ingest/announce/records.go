package announce

import (
	"strings"

	"golang.org/x/net/dns/dnsmessage"
)

// lifetime is how long, in seconds, what was heard may be believed: 120 for records with an
// address in them (RFC 6762, section 10), and here for all.
const lifetime = 120

// legacyLifetime is for those who do not know that it may end sooner (RFC 6762, section 6.7).
const legacyLifetime = 10

// The top bit of a class: in an answer, that there is no other of this name and type (RFC 6762,
// section 10.2); in a question, that the answer may come to the questioner alone (5.4).
const topBit = 1 << 15

// everything is where all services of a network are listed (RFC 6763, section 9).
const everything = "_services._dns-sd._udp.local."

// records are what a collector says of itself on one network.
type records struct {
	service, instance, host dnsmessage.Name

	srv     dnsmessage.SRVResource
	txt     dnsmessage.TXTResource
	address dnsmessage.AResource
}

func (r records) resource(name dnsmessage.Name, body dnsmessage.ResourceBody) dnsmessage.Resource {
	h := dnsmessage.ResourceHeader{Name: name, Class: dnsmessage.ClassINET, TTL: lifetime}
	if _, shared := body.(*dnsmessage.PTRResource); !shared {
		h.Class |= topBit
	}
	return dnsmessage.Resource{Header: h, Body: body}
}

// what is one kind of record and its name.
type what struct {
	name string
	kind dnsmessage.Type
}

// all are all records, by what asks for them, in an order in which one follows from another.
func (r records) all() []struct {
	what
	dnsmessage.Resource
} {
	service, instance, host := r.service.String(), r.instance.String(), r.host.String()
	return []struct {
		what
		dnsmessage.Resource
	}{
		{what{everything, dnsmessage.TypePTR}, r.resource(dnsmessage.MustNewName(everything), &dnsmessage.PTRResource{PTR: r.service})},
		{what{service, dnsmessage.TypePTR}, r.resource(r.service, &dnsmessage.PTRResource{PTR: r.instance})},
		{what{instance, dnsmessage.TypeSRV}, r.resource(r.instance, &r.srv)},
		{what{instance, dnsmessage.TypeTXT}, r.resource(r.instance, &r.txt)},
		{what{host, dnsmessage.TypeA}, r.resource(r.host, &r.address)},
	}
}

// read is a message that asks something.
func read(data []byte) (*dnsmessage.Message, error) {
	var m dnsmessage.Message
	if err := m.Unpack(data); err != nil {
		return nil, err
	}
	return &m, nil
}

// reply is the answer to a message, nil when there is nothing to say, and whether the
// questioner wants it for itself. Besides what was asked it holds what will be asked next
// (RFC 6763, section 12).
func (r records) reply(asked *dnsmessage.Message, legacy bool) (m *dnsmessage.Message, direct bool) {
	if asked.Response || asked.OpCode != 0 || asked.RCode != 0 { // RFC 6762, section 18
		return nil, false
	}
	m = &dnsmessage.Message{Header: dnsmessage.Header{Response: true, Authoritative: true}}
	direct = true
	first := -1
	for _, q := range asked.Questions {
		class := q.Class &^ topBit
		if class != dnsmessage.ClassINET && class != dnsmessage.ClassANY {
			continue
		}
		for i, record := range r.all() {
			if !strings.EqualFold(q.Name.String(), record.name) || q.Type != record.kind && q.Type != dnsmessage.TypeALL || known(asked, record.Resource) {
				continue
			}
			m.Answers = append(m.Answers, record.Resource)
			direct = direct && q.Class&topBit != 0
			if first < 0 || i < first {
				first = i
			}
		}
	}
	if len(m.Answers) == 0 {
		return nil, false
	}
	if first > 0 { // the list of all services needs no more
		for _, record := range r.all()[first+1:] {
			if !has(m.Answers, record.Resource) {
				m.Additionals = append(m.Additionals, record.Resource)
			}
		}
	}
	if legacy {
		m.ID = asked.ID
		m.Questions = asked.Questions
		for _, part := range [][]dnsmessage.Resource{m.Answers, m.Additionals} {
			for i := range part {
				part[i].Header.TTL = legacyLifetime
				part[i].Header.Class &^= topBit
			}
		}
	}
	return m, direct
}

func has(in []dnsmessage.Resource, r dnsmessage.Resource) bool {
	for _, x := range in {
		if x.Header.Name == r.Header.Name && x.Body.GoString() == r.Body.GoString() {
			return true
		}
	}
	return false
}

// known is whether the questioner has that already, and will have it for a while (RFC 6762,
// section 7.1).
func known(asked *dnsmessage.Message, r dnsmessage.Resource) bool {
	for _, x := range asked.Answers {
		if x.Header.TTL >= lifetime/2 && has([]dnsmessage.Resource{x}, r) {
			return true
		}
	}
	return false
}

// announcement is everything, unasked.
func (r records) announcement(seconds uint32) *dnsmessage.Message {
	m := &dnsmessage.Message{Header: dnsmessage.Header{Response: true, Authoritative: true}}
	for _, record := range r.all()[1:] {
		record.Header.TTL = seconds
		m.Answers = append(m.Answers, record.Resource)
	}
	return m
}
