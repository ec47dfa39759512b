#include "intake/reach.h"

#include <netdb.h>
#include <openssl/err.h>
#include <openssl/ssl.h>
#include <openssl/x509v3.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>

#include <cerrno>
#include <memory>
#include <system_error>

namespace baskwell::intake {
namespace {

constexpr int connect_ms = 1000;
constexpr int handshake_s = 2;
constexpr int addresses_max = 3;

template <class T, void (*Free)(T*)>
struct Freed {
  void operator()(T* object) const { Free(object); }
};
template <class T, void (*Free)(T*)>
using Owned = std::unique_ptr<T, Freed<T, Free>>;

class Socket {
 public:
  explicit Socket(int fd) : fd_(fd) {}
  ~Socket() {
    if (fd_ >= 0) ::close(fd_);
  }
  Socket(const Socket&) = delete;
  Socket& operator=(const Socket&) = delete;
  [[nodiscard]] int fd() const { return fd_; }

 private:
  int fd_;
};

// 0, or the errno of the attempt. A connect with a send timeout ends with EINPROGRESS when that is over
// (socket(7)).
int connect_to(const Socket& socket, const addrinfo& address) {
  if (socket.fd() < 0) return errno;
  timeval patience{.tv_sec = connect_ms / 1000, .tv_usec = 0};
  ::setsockopt(socket.fd(), SOL_SOCKET, SO_SNDTIMEO, &patience, sizeof patience);
  patience.tv_sec = handshake_s;
  ::setsockopt(socket.fd(), SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
  if (::connect(socket.fd(), address.ai_addr, address.ai_addrlen) == 0) return 0;
  return errno == EINPROGRESS ? ETIMEDOUT : errno;
}

std::string last_tls_error() {
  const unsigned long code = ERR_get_error();
  const char* const reason = code == 0 ? nullptr : ERR_reason_error_string(code);
  return reason == nullptr ? "no answer to the handshake" : reason;
}

std::optional<std::string> why_no_handshake(const Socket& socket, const Destination& to) {
  ERR_clear_error();
  const Owned<SSL_CTX, &SSL_CTX_free> context(SSL_CTX_new(TLS_client_method()));
  if (!context) return "TLS: " + last_tls_error();
  const int loaded = to.ca_file.empty()
                         ? SSL_CTX_set_default_verify_paths(context.get())
                         : SSL_CTX_load_verify_locations(context.get(), to.ca_file.c_str(), nullptr);
  if (loaded != 1) return "TLS: the authorities in '" + to.ca_file + "' cannot be read: " + last_tls_error();
  SSL_CTX_set_verify(context.get(), SSL_VERIFY_PEER, nullptr);
  const Owned<SSL, &SSL_free> session(SSL_new(context.get()));
  if (!session || SSL_set_fd(session.get(), socket.fd()) != 1) return "TLS: " + last_tls_error();
  X509_VERIFY_PARAM* const wanted = SSL_get0_param(session.get());
  if (X509_VERIFY_PARAM_set1_ip_asc(wanted, to.host.c_str()) != 1) {
    std::string name = to.host;
    X509_VERIFY_PARAM_set1_host(wanted, to.host.c_str(), 0);
    // What the macro SSL_set_tlsext_host_name does, without its C casts.
    SSL_ctrl(session.get(), SSL_CTRL_SET_TLSEXT_HOSTNAME, TLSEXT_NAMETYPE_host_name, name.data());
  }
  ERR_clear_error();
  if (SSL_connect(session.get()) == 1) return std::nullopt;
  const long verified = SSL_get_verify_result(session.get());
  if (verified == X509_V_OK) return "TLS: " + last_tls_error();
  return std::string("TLS: the broker's certificate is not accepted: ") +
         X509_verify_cert_error_string(verified);
}

}  // namespace

std::optional<std::string> why_unreachable(const Destination& to) {
  addrinfo wanted{};
  wanted.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  const int looked_up = ::getaddrinfo(to.host.c_str(), std::to_string(to.port).c_str(), &wanted, &found);
  if (looked_up != 0) return "the name '" + to.host + "' is not known: " + ::gai_strerror(looked_up);
  const Owned<addrinfo, &::freeaddrinfo> addresses(found);
  int error = EHOSTUNREACH;
  int tried = 0;
  for (const addrinfo* one = found; one != nullptr && tried < addresses_max; one = one->ai_next, ++tried) {
    const Socket socket(::socket(one->ai_family, one->ai_socktype | SOCK_CLOEXEC, one->ai_protocol));
    error = connect_to(socket, *one);
    if (error == 0) return to.tls ? why_no_handshake(socket, to) : std::nullopt;
  }
  return std::system_category().message(error);
}

}  // namespace baskwell::intake
