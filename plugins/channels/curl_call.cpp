#include "curl_call.h"

#include <algorithm>
#include <mutex>
#include <new>
#include <stdexcept>

namespace baskwell::channels {
namespace {

void check(CURLcode code) {
  if (code != CURLE_OK) throw std::runtime_error(curl_easy_strerror(code));
}

std::string_view host_of(std::string_view url) {
  const std::size_t scheme = url.find("://");
  if (scheme != std::string_view::npos) url.remove_prefix(scheme + 3);
  url = url.substr(0, url.find_first_of("/?#"));
  if (const std::size_t user = url.rfind('@'); user != std::string_view::npos) url.remove_prefix(user + 1);
  if (url.starts_with("[")) {
    const std::size_t end = url.find(']');
    const bool whole = end != std::string_view::npos && (end + 1 == url.size() || url[end + 1] == ':');
    return whole ? url.substr(0, end + 1) : std::string_view();
  }
  return url.substr(0, url.find(':'));
}

// A dotted IPv4 address of the loopback network, nothing that merely begins like one.
bool is_loopback_v4(std::string_view host) {
  if (!host.starts_with("127.")) return false;
  const bool dotted = host.find_first_not_of("0123456789.") == std::string_view::npos;
  return dotted && std::count(host.begin(), host.end(), '.') == 3;
}

}  // namespace

void start_curl() {
  static std::once_flag once;
  std::call_once(once, [] { check(curl_global_init(CURL_GLOBAL_DEFAULT)); });
}

bool is_loopback_url(std::string_view url) {
  const std::string_view host = host_of(url);
  return host == "localhost" || host == "[::1]" || is_loopback_v4(host);
}

Transfer::Transfer(const std::string& url, const std::string& ca_file, std::uint32_t timeout_ms)
    : handle_(curl_easy_init()) {
  if (!handle_) throw std::bad_alloc();
  check(curl_easy_setopt(handle(), CURLOPT_ERRORBUFFER, detail_));
  check(curl_easy_setopt(handle(), CURLOPT_WRITEFUNCTION, &Transfer::keep));
  check(curl_easy_setopt(handle(), CURLOPT_WRITEDATA, this));
  set(CURLOPT_URL, url);
  set(CURLOPT_NOSIGNAL, 1);
  set(CURLOPT_TIMEOUT_MS, static_cast<long>(timeout_ms));
  set(CURLOPT_CONNECTTIMEOUT_MS, static_cast<long>(timeout_ms));
  set(CURLOPT_QUICK_EXIT, 1);  // a name lookup that hangs must not hold the thread beyond the time limit
  set(CURLOPT_SSL_VERIFYPEER, 1);
  set(CURLOPT_SSL_VERIFYHOST, 2);
  set(CURLOPT_SSLVERSION, CURL_SSLVERSION_TLSv1_2);
  if (!ca_file.empty()) {
    set(CURLOPT_CAINFO, ca_file);
    check(curl_easy_setopt(handle(), CURLOPT_CAPATH,
                           nullptr));  // only this authority, not the system's as well
  }
  if (is_loopback_url(url)) set(CURLOPT_PROXY, std::string());  // a proxy of the environment cannot reach us
}

void Transfer::set(CURLoption option, long value) {
  check(curl_easy_setopt(handle(), option, value));
}

void Transfer::set(CURLoption option, const std::string& value) {
  check(curl_easy_setopt(handle(), option, value.c_str()));
}

void Transfer::add_to(curl_slist*& list, const std::string& line) {
  curl_slist* longer = curl_slist_append(list_.get(), line.c_str());
  if (longer == nullptr) throw std::bad_alloc();
  static_cast<void>(list_.release());  // `longer` is the same list, or its first element
  list_.reset(longer);
  list = longer;
}

std::size_t Transfer::keep(char* data, std::size_t size, std::size_t count, void* self) {
  auto& transfer = *static_cast<Transfer*>(self);
  const std::size_t bytes = size * count;
  const std::size_t room = response_bytes_max - transfer.response_.size();
  transfer.response_.append(data, std::min(bytes, room));
  if (bytes <= room) return bytes;
  transfer.cut_short_ = true;
  return 0;  // ends the transfer
}

CURLcode Transfer::run() {
  return curl_easy_perform(handle());
}

long Transfer::response_code() const {
  long code = 0;
  check(curl_easy_getinfo(handle(), CURLINFO_RESPONSE_CODE, &code));
  return code;
}

std::string Transfer::cause(CURLcode code) const {
  std::string text = curl_easy_strerror(code);
  std::string detail = detail_;
  if (detail.empty()) return text;
  // The detail often says it all: "Failed to connect to host port 25: Couldn't connect to server".
  if (detail.find(text) != std::string::npos) return detail;
  return text + " (" + detail + ")";
}

bw_delivery delivery_of(CURLcode code) {
  switch (code) {
    case CURLE_OK:
      return BW_DELIVERED;
    // Nothing of this gets better by itself: settings, a certificate, a server without TLS.
    case CURLE_UNSUPPORTED_PROTOCOL:
    case CURLE_URL_MALFORMAT:
    case CURLE_LOGIN_DENIED:
    case CURLE_REMOTE_ACCESS_DENIED:
    case CURLE_USE_SSL_FAILED:
    case CURLE_PEER_FAILED_VERIFICATION:
    case CURLE_SSL_CACERT_BADFILE:
    case CURLE_SSL_CERTPROBLEM:
    case CURLE_SSL_ISSUER_ERROR:
      return BW_REFUSED;
    default:
      return BW_TRY_AGAIN;
  }
}

}  // namespace baskwell::channels
