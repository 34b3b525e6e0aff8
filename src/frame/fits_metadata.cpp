#include "frame/fits_metadata.hpp"

namespace polewright {
namespace {

std::string text_or_empty(const FitsHeader& header, std::initializer_list<const char*> keywords) {
  const auto found = header.first_text(keywords);
  return found ? found->value : std::string();
}

/// Degrees Celsius; values only a kelvin scale can mean are converted.
MaybeSourced<double> read_temperature(const FitsHeader& header, std::initializer_list<const char*> keywords,
                                      std::vector<std::string>& warnings) {
  auto found = header.first_number(keywords, -100.0, 350.0, 10.0, warnings);
  if (found && found->value > 150.0) *found = {found->value - 273.15, found->source + " (kelvin)"};
  return found;
}

}  // namespace

FrameMetadata metadata_from_fits(const FitsHeader& header, int width, int height, const ReadOptions& options) {
  FrameMetadata m;
  read_fits_time(header, options, m);
  read_fits_site(header, m);
  read_fits_optics(header, width, height, m);
  m.camera = text_or_empty(header, {"INSTRUME", "CAMERA", "DETECTOR"});
  m.lens = text_or_empty(header, {"LENS", "TELESCOP"});
  m.object = text_or_empty(header, {"OBJECT"});
  m.f_number = header.first_number({"FOCRATIO", "F-NUMBER", "FRATIO"}, 0.5, 100.0, 0.01, m.warnings);
  m.iso = header.first_number({"ISOSPEED", "ISO"}, 1.0, 1e7, 0.01, m.warnings);
  m.sensor_temperature_c = read_temperature(header, {"CCD-TEMP", "CCDTEMP", "CAMTEMP"}, m.warnings);
  m.air_temperature_c = read_temperature(header, {"AMBTEMP", "AOCAMBT", "OUTTEMP", "TELTEMP"}, m.warnings);
  m.air_pressure_hpa = header.first_number({"PRESSURE", "AOCBAROM", "AIRPRESS"}, 500.0, 1100.0, 0.01, m.warnings);
  return m;
}

}  // namespace polewright
