// The `webhook` channel: one HTTP POST (RFC 9110) for each message, over TLS, by libcurl. The body is the
// message as JSON, or a pattern in JSON, form or text. Redirects are not followed. Plain http:// only to this
// machine, unless allow_plain = true. Errors: 2xx delivered; 408, 425, 429, 5xx or no answer: try again;
// anything else refused.

#include <algorithm>
#include <boost/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "baskwell/plugin.hpp"
#include "curl_call.h"
#include "pattern.h"

namespace {

using baskwell::channels::Escape;
using baskwell::channels::Pattern;
using baskwell::channels::Transfer;
using baskwell::plugin::BadSetting;
using baskwell::plugin::Line;
using baskwell::plugin::Settings;

struct Format {
  std::string_view name;
  Escape escape;
  std::string_view content_type;
  std::string_view pattern;  // when the settings give none; "" for json: the whole message
};

constexpr Format formats[] = {
    {"json", Escape::json, "application/json", ""},
    {"form", Escape::percent, "application/x-www-form-urlencoded",
     "headline={headline}&body={body}&priority={priority}&person={person}&address={address}&id={id}"},
    {"text", Escape::none, "text/plain; charset=utf-8", "{body}"}};

const Format& format_called(std::string_view name) {
  for (const Format& format : formats) {
    if (format.name == name) return format;
  }
  throw BadSetting("'format' must be json, form or text");
}

constexpr bool is_token_char(char c) {  // RFC 9110 5.6.2
  constexpr std::string_view signs = "!#$%&'*+-.^_`|~";
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
         signs.find(c) != std::string_view::npos;
}

constexpr bool is_control(char c) {
  return static_cast<unsigned char>(c) < 0x20U || c == 0x7F;
}

bool same_name(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](char x, char y) { return (x | 0x20) == (y | 0x20); });
}

// The header field lines the settings ask for.
std::vector<std::string> header_lines(const Settings& settings) {
  std::vector<std::string> lines;
  for (const auto& [name, value] : settings.table("header.")) {
    if (name.empty() || !std::all_of(name.begin(), name.end(), is_token_char)) {
      throw BadSetting("'header." + name + "' is no name for a header field");
    }
    for (const std::string_view ours : {"Content-Length", "Transfer-Encoding", "Host", "Baskwell-Message"}) {
      if (same_name(name, ours)) throw BadSetting("'header." + name + "' is set by the channel itself");
    }
    const bool control = std::any_of(value.begin(), value.end(), is_control);
    if (control) throw BadSetting("'header." + name + "' has a line end or control character in its value");
    lines.push_back(name);
    lines.back().append(value.empty() ? ";" : ": ").append(value);  // libcurl's form for an empty value
  }
  return lines;
}

class Webhook {
 public:
  explicit Webhook(const Settings& settings)
      : url_(settings.required("url"), Escape::percent),
        url_scheme_(settings.required("url").substr(0, 8)),
        format_(format_called(settings.text("format", "json"))),
        headers_(header_lines(settings)),
        ca_file_(settings.text("ca_file")) {
    check_url(settings.required("url"), settings.yes_no("allow_plain", false));
    const std::string text = settings.text("body", format_.pattern);
    if (!text.empty()) body_.emplace(text, format_.escape);
    if (body_ && format_.escape == Escape::json) check_json();
    const bool own_type = std::any_of(headers_.begin(), headers_.end(), [](const std::string& line) {
      return same_name(std::string_view(line).substr(0, line.find_first_of(":;")), "Content-Type");
    });
    if (!own_type) headers_.push_back("Content-Type: " + std::string(format_.content_type));
    headers_.emplace_back("User-Agent: Baskwell");
    headers_.emplace_back("Expect:");  // send the body at once
    baskwell::channels::start_curl();
  }

  bw_delivery deliver(const bw_message& message, std::uint32_t timeout_ms, Line& answer) const {
    const std::string body = body_ ? body_->filled(message) : baskwell::channels::message_json(message);
    Transfer transfer(url_.filled(message), ca_file_, timeout_ms);
    transfer.set(CURLOPT_PROTOCOLS_STR, std::string(url_scheme_ == "https://" ? "https" : "http"));
    curl_slist* lines = nullptr;
    for (const std::string& line : headers_) transfer.add_to(lines, line);
    // So that a receiver can drop a second attempt at a message it already took.
    transfer.add_to(lines, "Baskwell-Message: " + baskwell::channels::escaped(message.id, Escape::percent));
    transfer.set(CURLOPT_POST, 1);
    transfer.set(CURLOPT_POSTFIELDSIZE, static_cast<long>(body.size()));
    transfer.set(CURLOPT_FOLLOWLOCATION, 0);
    CURL* curl = transfer.handle();
    curl_easy_setopt(curl, CURLOPT_POSTFIELDS, body.c_str());
    curl_easy_setopt(curl, CURLOPT_HTTPHEADER, lines);
    return told(transfer, transfer.run(), answer);
  }

 private:
  void check_url(const std::string& url, bool allow_plain) const {
    const bool https = url.starts_with("https://");
    if (!https && !url.starts_with("http://")) throw BadSetting("'url' must begin with https://");
    if (!https && !allow_plain && !baskwell::channels::is_loopback_url(url)) {
      throw BadSetting(
          "'url' must begin with https://; http:// to another machine only with allow_plain = true");
    }
    const std::size_t host_end = url.find('/', url.find("://") + 3);
    if (url_.first_placeholder() != std::string::npos && url_.first_placeholder() < host_end) {
      throw BadSetting("'url' may have placeholders only behind the host's name and its '/'");
    }
    const bool blank = std::any_of(url.begin(), url.end(), [](char c) { return c == ' ' || is_control(c); });
    if (blank) throw BadSetting("'url' has a blank or control character in it");
  }

  // Filled with an example, the pattern must be JSON; so a placeholder without quotes around it shows at
  // once.
  void check_json() const {
    const bw_message example{"id", "person", "address", "high", "headline", "body", "", 0};
    boost::json::error_code failed;
    boost::json::parse(body_->filled(example), failed);
    if (failed) throw BadSetting("'body' is not JSON once filled in (quotes around every placeholder?)");
  }

  static bw_delivery told(const Transfer& transfer, CURLcode code, Line& answer) {
    const bool complete = code == CURLE_OK || (code == CURLE_WRITE_ERROR && transfer.cut_short());
    if (!complete) {
      answer.set(transfer.cause(code));
      return baskwell::channels::delivery_of(code);
    }
    const long status = transfer.response_code();
    answer.set("HTTP ").add_number(status);
    const std::string_view text = std::string_view(transfer.response()).substr(0, 200);
    const std::string_view first = text.substr(0, text.find_first_of("\r\n"));
    if (!first.empty()) answer.add(": ").add(first);
    if (status >= 200 && status < 300) return BW_DELIVERED;
    if (status == 408 || status == 425 || status == 429 || status >= 500) return BW_TRY_AGAIN;
    if (status >= 300 && status < 400) answer.add(" (redirects are not followed)");
    return BW_REFUSED;
  }

  Pattern url_;
  std::string url_scheme_;
  const Format& format_;
  std::optional<Pattern> body_;  // none: the whole message as JSON
  std::vector<std::string> headers_;
  std::string ca_file_;
};

constexpr const char* keys[] = {"url", "format", "body", "ca_file", "allow_plain", "header.*", nullptr};
constexpr bw_plugin description = {BASKWELL_PLUGIN_INTERFACE,
                                   "webhook",
                                   "1.0",
                                   keys,
                                   nullptr,
                                   &baskwell::plugin::channel_functions<Webhook>};

}  // namespace

extern "C" const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  return baskwell::plugin::answer(description, host_interface);
}
