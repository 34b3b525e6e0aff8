#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "frame/fits_metadata.hpp"
#include "frame/time_stamp.hpp"

namespace polewright {
namespace {

enum class Clock { utc, local };

/// Seconds that TIMESYS runs ahead of UTC at `when`.
struct TimeScale {
  Clock clock = Clock::utc;
  double ahead_of_utc_s = 0.0;
};

TimeScale read_time_scale(const FitsHeader& header, UtcTime when, std::vector<std::string>& warnings) {
  const std::string* name = header.text("TIMESYS");
  if (!name || *name == "UTC" || *name == "UT" || *name == "UT1" || *name == "GMT" || *name == "Z") return {};
  if (*name == "LOCAL") return {Clock::local, 0.0};
  const auto leap = tai_minus_utc_s(when);
  if (leap && *name == "TAI") return {Clock::utc, static_cast<double>(*leap)};
  if (leap && (*name == "TT" || *name == "TDT" || *name == "TDB" || *name == "ET")) return {Clock::utc, *leap + 32.184};
  if (leap && *name == "GPS") return {Clock::utc, *leap - 19.0};
  warnings.push_back(fmt::format("FITS TIMESYS '{}' is not understood; times are taken as UTC", *name));
  return {};
}

/// A candidate for the middle of the exposure: stamp, and how far the middle lies behind it.
struct Candidate {
  Stamp stamp;
  double to_middle_s = 0.0;
  bool explicit_utc = false;  ///< the keyword or a zone suffix says UTC, whatever DATE-OBS means
  bool at_end = false;        ///< read-out time may lie between the exposure's end and this stamp

  [[nodiscard]] UtcTime middle() const { return stamp.utc().plus_seconds(to_middle_s); }
};

std::optional<std::string> time_of_day(const FitsHeader& header) {
  for (const char* keyword : {"UT-OBS", "UTSTART", "UT", "UTC", "UTC-OBS", "TIME-OBS", "TIME-BEG"}) {
    const std::string* text = header.text(keyword);
    if (text && text->size() >= 5 && text->size() <= 15 && text->find(':') < 3) return *text;
  }
  return {};
}

std::optional<Stamp> modified_julian_stamp(const FitsHeader& header, const char* keyword) {
  const auto mjd = header.number(keyword);
  if (!mjd || *mjd < 10000.0 || *mjd > 120000.0) return {};
  const std::string& text = *header.text(keyword);
  const auto point = text.find('.');
  const auto decimals = point == std::string::npos ? std::size_t{0} : text.size() - point - 1;
  const UtcTime t = UtcTime::from_julian_date(2400000.5, *mjd);
  return Stamp{t.calendar(), 0, 86400.0 * std::pow(10.0, -static_cast<double>(decimals)),
               std::string("FITS ") + keyword};
}

class Candidates {
 public:
  Candidates(const FitsHeader& header, double exposure_s) : header_(header), exposure_s_(exposure_s) {
    add_text("DATE-AVG", 0.0);
    add_text("DATE-BEG", exposure_s / 2);
    add_text("DATE-OBS", exposure_s / 2);
    add_text("UT-OBS", exposure_s / 2);
    add_number("MJD-AVG", 0.0);
    add_number("MJD-BEG", exposure_s / 2);
    add_number("MJD-OBS", exposure_s / 2);
    add_text("DATE-END", -exposure_s / 2);
    add_number("MJD-END", -exposure_s / 2);
  }
  std::vector<Candidate> list;

 private:
  void add_text(const char* keyword, double to_middle_s) {
    const std::string* text = header_.text(keyword);
    if (!text) return;
    const bool ut = std::string_view(keyword) == "UT-OBS";
    const auto clock = ut ? std::nullopt : time_of_day(header_);
    std::string source = std::string("FITS ") + keyword;
    if (auto stamp = parse_stamp(*text, source, clock.value_or(""))) {
      const bool explicit_utc = ut || stamp->zone_offset_s.has_value();
      list.push_back({*stamp, to_middle_s, explicit_utc, to_middle_s < 0.0});
    }
  }
  void add_number(const char* keyword, double to_middle_s) {
    if (const auto stamp = modified_julian_stamp(header_, keyword))
      list.push_back({*stamp, to_middle_s, false, to_middle_s < 0.0});
  }

  const FitsHeader& header_;
  double exposure_s_;
};

std::string hours_and_minutes(double s) {
  const long long minutes = std::llround(std::abs(s) / 60.0);
  if (minutes < 2) return fmt::format("{:.3g} s", std::abs(s));
  return fmt::format("{} h {:02} min", minutes / 60, minutes % 60);
}

/// DATE-OBS, unless another stamp says outright that it is UTC while DATE-OBS does not and is off by whole quarters of
/// an hour, as local times are.
std::size_t choose(const std::vector<Candidate>& list) {
  if (list.front().explicit_utc) return 0;
  for (std::size_t i = 1; i < list.size(); ++i) {
    const double apart = std::abs(list[i].middle().seconds_since(list[0].middle()));
    const double quarters = apart / 900.0;
    const bool zone_like = apart > 600.0 && std::abs(quarters - std::round(quarters)) * 900.0 < 60.0;
    if (list[i].explicit_utc && !list[i].at_end && zone_like) return i;
  }
  return 0;
}

void warn_of_disagreement(const std::vector<Candidate>& list, std::size_t chosen, double exposure_s,
                          std::vector<std::string>& warnings) {
  for (std::size_t i = 0; i < list.size(); ++i) {
    const double apart = list[i].middle().seconds_since(list[chosen].middle());
    // An end stamp may include the read-out.
    const double slack = list[i].at_end != list[chosen].at_end ? 10.0 + exposure_s : 0.0;
    const double resolution = std::max(list[i].stamp.resolution_s, list[chosen].stamp.resolution_s);
    if (std::abs(apart) > 2.0 + resolution + slack)
      warnings.push_back(fmt::format("{} and {} differ by {}; used {}", list[chosen].stamp.source, list[i].stamp.source,
                                     hours_and_minutes(apart), list[chosen].stamp.source));
  }
}

}  // namespace

void read_fits_time(const FitsHeader& header, const ReadOptions& options, FrameMetadata& metadata) {
  metadata.exposure_s =
      header.first_number({"EXPTIME", "EXPOSURE", "XPOSURE", "EXP_TIME", "ITIME"}, 0.0, 1e5, 0.01, metadata.warnings);
  const double exposure_s = metadata.exposure_s ? metadata.exposure_s->value : 0.0;
  const std::vector<Candidate> list = Candidates(header, exposure_s).list;
  if (list.empty()) {
    if (const std::string* date = header.text("DATE-OBS"))
      metadata.warnings.push_back(fmt::format("FITS DATE-OBS '{}' is not a date with time of day", *date));
    return;
  }
  const std::size_t chosen = choose(list);
  warn_of_disagreement(list, chosen, exposure_s, metadata.warnings);

  const Candidate& best = list[chosen];
  std::string source = best.stamp.source;
  if (!metadata.exposure_s && best.stamp.source.find("AVG") == std::string::npos)
    metadata.warnings.push_back("the exposure is not recorded; the time stamp is taken as its middle");
  const TimeScale scale = best.explicit_utc ? TimeScale{} : read_time_scale(header, best.middle(), metadata.warnings);
  metadata.mid_time_sigma_s = stamp_difference_sigma_s(best.stamp.resolution_s);
  if (scale.clock == Clock::utc) {
    if (scale.ahead_of_utc_s != 0.0) source += " (" + *header.text("TIMESYS") + ")";
    metadata.mid_time = Sourced<UtcTime>{best.middle().plus_seconds(-scale.ahead_of_utc_s), source};
  } else if (options.utc_offset_s) {
    metadata.mid_time = Sourced<UtcTime>{best.middle().plus_seconds(-*options.utc_offset_s),
                                         source + " (local), zone from option --utc-offset"};
  } else {
    metadata.mid_local_time = Sourced<CalendarTime>{moved(best.stamp.calendar, best.to_middle_s), source + " (local)"};
  }
}

}  // namespace polewright
