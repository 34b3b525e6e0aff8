#include "session/night_identified.hpp"

#include "session/night_bytes.hpp"

namespace polewright::session {
namespace {

// Field by field: the gaps inside a structure hold chance values.
template <class Io, class Lens>
void visit_lens(Io& io, Lens& lens) {
  io(lens.projection);
  io(lens.focal_px);
  io(lens.principal_point);
  io(lens.k1);
  io(lens.k2);
  io(lens.mirrored);
}

}  // namespace

std::uint64_t identification_key(const FrameRecord& record, const Catalogue& catalogue, const IdentifyHints& hints,
                                 const IdentifyOptions& options) {
  Writer out;
  out(pack(record));
  out(catalogue.checksum());
  out.optional(hints.focal_px);
  out.optional(hints.centre);
  out.optional(hints.attitude);
  out(static_cast<std::uint8_t>(hints.lens.has_value()));
  if (hints.lens) visit_lens(out, *hints.lens);
  out.optional(hints.time);
  out.optional(hints.site);
  out(options.max_chance_probability);
  out(options.min_matches);
  out(options.time_limit_s);
  return hash_bytes(out.bytes_);
}

std::string pack(const IdentifyResult& result) {
  Writer out;
  out(result.outcome);
  out(result.message);
  out(static_cast<std::uint8_t>(result.identification.has_value()));
  if (result.identification) {
    const Identification& id = *result.identification;
    out(id.camera_from_icrs);
    out.optional(id.camera_from_enu);
    visit_lens(out, id.lens);
    out(id.matches);
    out(id.residual_rms_px);
    out(id.log10_chance);
  }
  return sealed(std::move(out));
}

std::optional<IdentifyResult> unpack_identified(std::string_view bytes) {
  auto in = opened(bytes);
  if (!in) return {};
  IdentifyResult result;
  std::uint8_t identified = 0;
  (*in)(result.outcome);
  (*in)(result.message);
  (*in)(identified);
  if (identified != 0) {
    Identification& id = result.identification.emplace();
    (*in)(id.camera_from_icrs);
    in->optional(id.camera_from_enu);
    visit_lens(*in, id.lens);
    (*in)(id.matches);
    (*in)(id.residual_rms_px);
    (*in)(id.log10_chance);
  }
  if (!in->complete()) return {};
  return result;
}

IdentifyResult identify_remembered(const FrameRecord& record, const StarList& stars, const Catalogue& catalogue,
                                   const IdentifyHints& hints, const IdentifyOptions& options, NightCache* cache) {
  if (cache == nullptr) return identify(stars, catalogue, hints, options);
  const std::uint64_t key = identification_key(record, catalogue, hints, options);
  if (const auto bytes = cache->recall(key))
    if (auto known = unpack_identified(*bytes)) return std::move(*known);
  IdentifyResult result = identify(stars, catalogue, hints, options);
  cache->note(key, pack(result), result.identification.has_value());
  return result;
}

}  // namespace polewright::session
