#include <numeric>

#include "polewright/catalogue.hpp"
#include "session/load.hpp"
#include "session/page_evidence.hpp"

namespace polewright {

using namespace session;

Result<InspectReport> inspect(const std::filesystem::path& path, const SessionOptions& options,
                              const Progress& progress) {
  const Result<Catalogue> catalogue = Catalogue::open(options.catalogue);
  if (!catalogue) return catalogue.error();
  if (progress) progress("reading and finding stars", 0, 1);
  Result<MeasuredFrame> loaded = load(path, options);
  if (!loaded) return loaded.error();
  MeasuredFrame& m = *loaded;
  announce_sky_index(*catalogue, progress);
  if (progress) progress("identifying stars", 0, 1);
  m.identified = identify(m.stars, *catalogue, hints_for(m, options, nullptr));

  InspectReport report;
  report.frame = describe(m, options);
  report.metadata = m.frame.metadata;
  if (const auto site = site_of(m.frame, options)) report.metadata.site = site;
  report.kind = m.frame.kind;
  report.mosaic = m.frame.mosaic;
  const auto& black = m.frame.black_level;
  report.black_level = std::accumulate(black.begin(), black.end(), 0.0) / static_cast<double>(black.size());
  report.white_level = m.frame.white_level;
  report.sky_level = m.stars.sky_level;
  report.sky_noise = m.stars.sky_noise;
  const auto& id = m.identified->identification;
  report.identification = id ? "identified" : m.identified->message;
  report.optics = describe_optics(optics_of(m.frame, options), id ? &id->lens : nullptr);
  report.warnings = m.frame.metadata.warnings;
  if (options.pictures) report.view = view_of(m, *catalogue);
  return report;
}

}  // namespace polewright
