//! Keeps the cluster in the folder given as the argument running until it is killed.

use cluster::{Cluster, DATABASE, Role, Settings};

fn main() -> Result<(), cluster::ClusterError> {
    let folder = std::env::args_os().nth(1).map(Into::into);
    let cluster = Cluster::start(&Settings { folder, ..Settings::throwaway() })?;
    println!("{}", cluster.url(Role::Superuser, DATABASE));
    loop {
        std::thread::park();
    }
}
